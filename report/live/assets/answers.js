(() => {
  // Who may begin something is told anew when the probe is taken and when it is free.
  let busyWas = null;
  bench.on("busy", (busy) => {
    if (busyWas !== null && busyWas !== busy) bench.refresh(false);
    busyWas = busy;
  });
  // A panel whose answer is computed in the background is fetched again when it is
  // there.
  for (const name of ["room", "prove", "compare", "record"]) {
    bench.on(name + "_ready", () => {
      const el = document.querySelector(`[data-panel="${name}"]`);
      if (el?.dataset.loaded && !el.closest("[hidden]")) bench.load(name);
    });
  }
  bench.panel("prove", {
    shown(el) {
      const open = el.querySelector("#prove-state option[data-open]");
      if (open) open.selected = true;
    },
    did(action) { if (action === "begin") location.hash = "walk"; },
  });
  bench.panel("runs", {
    shown(el) {
      const opened = el.querySelector("#runs-opened");
      if (opened && el.dataset.asked !== el.dataset.query) opened.scrollIntoView({ block: "nearest" });
      el.dataset.asked = el.dataset.query || "";
    },
  });
})();
