// What was unfolded stays so when its panel is fetched again.
bench.unfolded = {};
document.addEventListener("toggle", (e) => { if (e.target.id) bench.unfolded[e.target.id] = e.target.open; }, true);
bench.unfold = (el) => { for (const d of el.querySelectorAll("details[id]")) if (bench.unfolded[d.id]) d.open = true; };
bench.panel("choose", { shown: bench.unfold });

// A panel that waits for an answer is fetched again when the answer is there,
// also when it came while the panel was on its way.
const readyAt = {};
for (const name of ["describe", "room", "map", "sources", "whatif", "compare", "choose", "prove", "record"]) {
  bench.on(`${name}_ready`, () => {
    readyAt[name] = performance.now();
    if (document.querySelector(`.step:not([hidden]) [data-panel="${name}"] .at-work`)) bench.load(name);
  });
}
document.addEventListener("panelshown", (e) => {
  const { name, began } = e.detail;
  if (readyAt[name] > began && e.target.querySelector(".at-work")) bench.load(name);
});
setInterval(() => {
  for (const el of document.querySelectorAll(".step:not([hidden]) [data-began]")) {
    const s = Math.max(0, Math.round(bench.age(Number(el.dataset.began)) / 1000));
    el.querySelector(".work-s").textContent = s > 1 ? bench.say("answer.seconds", s) : "";
  }
}, 1000);

// Who may begin something changes when the probe is taken and when it is free.
let busyWas = null;
bench.on("busy", (busy) => {
  if (busyWas !== null && busyWas !== busy) bench.refresh(false);
  busyWas = busy;
});

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
