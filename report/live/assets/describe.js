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

// What was unfolded stays so when its panel is fetched anew.
bench.unfolded = {};
document.addEventListener("toggle", (e) => { if (e.target.id) bench.unfolded[e.target.id] = e.target.open; }, true);
bench.unfold = (el) => { for (const d of el.querySelectorAll("details[id]")) if (bench.unfolded[d.id]) d.open = true; };
bench.panel("choose", { shown: bench.unfold });

// A panel whose answer was computed meanwhile is shown anew, unless somebody is
// in the middle of something there.
for (const name of ["describe", "map", "choose", "sources", "whatif"]) {
  bench.on(`${name}_ready`, () => {
    const el = document.querySelector(`.step:not([hidden]) [data-panel="${name}"]`);
    if (el && el.querySelector(".at-work")) bench.load(name);
  });
}
setInterval(() => {
  for (const el of document.querySelectorAll(".step:not([hidden]) [data-began]")) {
    const s = Math.max(0, Math.round(bench.age(Number(el.dataset.began)) / 1000));
    el.querySelector(".work-s").textContent = s > 1 ? bench.say("answer.seconds", s) : "";
  }
}, 1000);
