bench.panel("link", {
  shown(el) {
    const again = () => bench.load("link");
    el.querySelector("#link-again")?.addEventListener("click", again);
    el.querySelector("#link-close")?.addEventListener("click", async () => {
      try { await bench.post("link/disconnect", {}); } catch (p) { bench.announce(p.error); }
      again();
    });
  },
  // A fresh verdict comes a little after the port was opened.
  did() { setTimeout(() => bench.load("link"), 2500); },
});
bench.on("link_wiggle", (w) => {
  const el = bench.$("l-step");
  if (!el) return;
  el.textContent = w.step ? bench.say("link.wiggle_step", w.step, w.say, w.for_s) : w.say;
  el.className = "l-step" + (w.step ? " now" : w.shows ? " bad" : " good");
  if (w.step && bench.step === "link") bench.tones([[w.step === 2 ? 660 : 440, 0.15]]);
});
bench.on("reading", (r) => {
  if (bench.step !== "link" || !bench.$("link-b")) return;
  bench.$("link-rate").textContent = bench.say("link.hertz", r.rate_hz);
  bench.$("link-b").textContent = bench.say("link.ut_gauss", r.magnitude_ut, r.magnitude_ut / 100);
  bench.$("link-xyz").textContent = r.b_ut.map((v) => v.toFixed(1)).join("   ");
});
