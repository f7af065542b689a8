// Guided work: what the walk, the proof, the arrow check and the swing share, and
// the sounds of all that is guided.
const guided = (() => {
  const { say } = bench;

  const tones = {
    captured: [[660, 0.12, 0.03], [990, 0.22]],
    rejected: [[220, 0.14, 0.07], [220, 0.14, 0.07], [220, 0.14]],
    base: [[523, 0.16, 0.05], [392, 0.16, 0.05], [523, 0.3]],
    go: [[440, 0.07]],
    lost: [[330, 0.3, 0.05], [220, 0.5]],
    back: [[392, 0.15, 0.04], [587, 0.25]],
    done: [[523, 0.15, 0.03], [659, 0.15, 0.03], [784, 0.4]],
    refused: [[220, 0.14, 0.07], [220, 0.14]],
    warning: [[300, 0.1, 0.1], [360, 0.1]],
  };
  const sound = (kind) => { if (tones[kind]) bench.tones(tones[kind]); };

  const phases = /^(waiting|checklist|measuring|held|lost)$/;

  // follow shows the work of a topic. hooks: to (the path of its commands),
  // shown (the state has changed), reading (a reading has come), began, ended,
  // asked (a command was sent), cue (an event has come; old: some time ago).
  const follow = (topic, hooks) => {
    const w = {
      state: null, // the newest
      live: null,  // the newest reading
      under: () => !!w.state && phases.test(w.state.phase),

      async command(kind, text) {
        if (kind === "capture" && w.state?.phase === "checklist") kind = "confirm";
        if (kind === "pause" && w.state?.phase === "held") kind = "continue";
        hooks.asked?.(kind);
        try { await bench.post(hooks.to() + "/command", { kind, text: text || "" }); } catch (p) { bench.announce(p.error); }
        hooks.reading();
      },

      // key takes the keys that all guided work has.
      key(e) {
        if (!w.under()) return false;
        const listed = w.state.phase === "checklist";
        if (e.key === "Escape" && (listed || w.state.phase === "waiting")) { w.command("stop"); return true; }
        if (w.state.phase === "waiting") return false;
        if (e.key === " " || e.key === "Enter") { w.command("capture"); return true; }
        const kind = !listed && { backspace: "redo", s: "skip", p: "pause" }[e.key.toLowerCase()];
        if (kind) w.command(kind);
        return !!kind;
      },

      // checklist fills a list: what is confirmed, and the item that is next.
      checklist(list) {
        const { checklist, confirmed, phase } = w.state;
        const items = phase === "checklist" ? checklist.map((item, i) => [item, i < confirmed ? "ok" : i === confirmed ? "now" : ""]) : [];
        bench.list(list, items, ([item, kind]) => {
          const e = bench.li(item, kind);
          if (kind === "now") {
            e.setAttribute("aria-current", "step");
            requestAnimationFrame(() => e.scrollIntoView({ block: "center" }));
          }
          return e;
        });
      },
      log(list) { bench.list(list, [...w.state.log].reverse(), (l) => bench.li(l.text, l.kind)); },
    };

    bench.on(topic, (state) => {
      const was = w.under(), list = w.state?.phase === "checklist";
      w.state = state;
      if (w.under() && (!was || list && state.phase !== "checklist")) hooks.began();
      if (was && !w.under()) hooks.ended();
      hooks.shown();
    });
    let drawing = false;
    bench.on(topic + "_live", (l) => {
      w.live = l;
      if (drawing) return;
      drawing = true;
      requestAnimationFrame(() => { drawing = false; hooks.reading(); });
    });
    bench.on(topic + "_cue", (c) => {
      const old = bench.age(c.at_ms) > 3000; // sent again after an absence
      hooks.cue?.(c);
      if (c.text) bench.announce(c.text);
      if (old) return;
      if (!c.text && (c.kind === "go" || c.kind === "base")) bench.announce(say("walk.next_is", c.station));
      if (c.kind !== "load") { sound(c.kind); return; }
      bench.announce(say(c.on ? "word.on" : "word.off"));
      bench.tones([c.on ? [880, 0.4] : [440, 0.4]], true);
    });
    return w;
  };
  return { follow, sound };
})();
