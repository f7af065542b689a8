(() => {
  let scrolled = 0;
  const to = (line) => {
    const li = bench.$(`toml-${line}`);
    if (!li) return;
    document.querySelector(".toml .here")?.classList.remove("here");
    li.classList.add("here");
    const box = bench.$("toml");
    box.scrollTop = li.offsetTop - box.offsetTop - box.clientHeight / 3;
  };
  bench.panel("describe", {
    shown(el) {
      const box = el.querySelector("#toml");
      if (!box) return;
      box.scrollTop = scrolled;
      box.addEventListener("scroll", () => { scrolled = box.scrollTop; });
      el.querySelector("#d-jump")?.addEventListener("change", (e) => { if (e.target.value) to(e.target.value); });
      for (const b of el.querySelectorAll("[data-line]")) {
        b.addEventListener("click", () => { to(b.dataset.line); box.focus({ preventScroll: true }); });
      }
    },
  });
})();
