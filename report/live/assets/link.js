// The link: what comes down the line, and whether the lead shows.
(() => {
  let wiggle = null; // the newest state
  const showWiggle = () => {
    const el = bench.$("l-step");
    if (!el || !wiggle) return;
    el.textContent = wiggle.step ? bench.say("link.wiggle_step", wiggle.step, wiggle.say, wiggle.for_s) : wiggle.say;
    el.className = "l-step" + (wiggle.step ? " now" : wiggle.shows ? " bad" : " good");
  };
  bench.panel("link", {
    shown(el) {
      const again = () => bench.load("link");
      el.querySelector("#link-again")?.addEventListener("click", again);
      el.querySelector("#link-close")?.addEventListener("click", async () => {
        try { await bench.post("link/disconnect", {}); } catch (p) { bench.announce(p.error); }
        again();
      });
      showWiggle();
    },
    busy: () => !!wiggle?.step,
    // A fresh verdict comes a little after the port was opened.
    did(action) { if (action === "connect") setTimeout(() => bench.load("link"), 2500); },
  });
  bench.on("link", (l) => {
    bench.$("linkword").textContent = l.connected ? (l.up ? l.port.split(/[\/\\]/).pop() : bench.say("path.link_lost")) : bench.say("path.no_link");
    bench.$("linkword").dataset.up = l.connected && l.up ? "1" : "";
    bench.path();
  });
  bench.on("link_wiggle", (w) => {
    wiggle = w;
    showWiggle();
    if (w.step && bench.step === "link") bench.tones([[w.step === 2 ? 660 : 440, 0.15]]);
  });
  bench.on("reading", (r) => {
    if (bench.step !== "link" || !bench.$("link-b")) return;
    bench.$("link-rate").textContent = bench.say("link.hertz", r.rate_hz);
    bench.$("link-b").textContent = bench.say("link.ut_gauss", r.magnitude_ut, r.magnitude_ut / 100);
    bench.$("link-xyz").textContent = r.b_ut.map((v) => v.toFixed(1)).join("   ");
  });
})();
