// The arrow check and the swing: one sentence and one line drawing at a time.
(() => {
  const { say } = bench;
  const place = () => pose.state && document.querySelector(`.pose[data-pose="${pose.state.what}"]`);
  const part = (name) => place()?.querySelector("." + name);
  const text = (name, value) => bench.text(part(name), value);

  const drawing = () => {
    const svg = part("p-drawing"), d = pose.state.drawing;
    const have = d ? pose.state.station : "";
    if (!svg || svg.dataset.has === have) return;
    svg.dataset.has = have;
    svg.replaceChildren();
    if (!d) return;
    bench.svg("path", { class: "ground", d: d.ground }, svg);
    for (const f of d.faces) {
      bench.svg("path", { class: "face " + f.kind, d: f.path }, svg);
      if (f.marks) bench.svg("path", { class: "marks", d: f.marks }, svg);
    }
    // The letter comes last, above what it stands behind.
    bench.svg("text", { x: d.north[0], y: d.north[1] }, svg).textContent = say(pose.state.what === "swing" ? "pose.zero" : "pose.north");
  };
  const ring = () => {
    const s = pose.state, measuring = s?.phase === "measuring";
    const frac = measuring && pose.live ? pose.live.frac : 0;
    part("fill")?.setAttribute("stroke-dasharray", `${(100 * frac).toFixed(0)} 100`);
    text("p-word", s ? say("word." + (measuring ? pose.live?.word || "moving" : s.phase)) : "");
  };

  const show = () => {
    const s = pose.state;
    for (const box of document.querySelectorAll(".pose")) {
      const mine = s?.what === box.dataset.pose, on = mine && pose.under();
      box.hidden = !on;
      box.toggleAttribute("data-busy", on);
      const setup = document.querySelector(`[data-setup="${box.dataset.pose}"]`);
      if (setup) setup.hidden = on;
      const over = box.parentElement.querySelector(".p-over");
      if (over) {
        over.hidden = !mine || on || s.finished;
        over.textContent = mine ? s.why : "";
      }
    }
    if (!pose.under() || !place()) return;
    const checking = s.phase === "checklist";
    part("p-check").hidden = !checking;
    part("p-stage").hidden = checking;
    pose.checklist(part("p-items"));
    text("p-words", s.words ? bench.sentence(s.words) : "");
    drawing();
    let current = s.marks.findIndex((m) => m.name === s.station && !m.captures);
    if (current < 0) current = s.marks.findIndex((m) => m.name === s.station);
    bench.list(part("p-stops"), s.marks.map((m, i) => [m.name, m.captures ? "taken" : "", i === current]), ([name, kind, now]) => {
      const e = bench.li(name, kind);
      if (now) e.setAttribute("aria-current", "step");
      return e;
    });
    text("p-progress", say("pose.progress", s.visits_done, s.visits_planned));
    part("p-alert").hidden = !/^(lost|held)$/.test(s.phase);
    text("p-alert", s.why);
    pose.log(part("p-log"));
    ring();
  };

  const pose = guided.follow("pose", {
    to: () => pose.state.what,
    shown: show,
    reading: ring,
    began() { if (bench.step === "glue") place()?.scrollIntoView({ block: "start" }); },
    ended() { bench.load(pose.state.what); },
  });

  for (const what of ["arrow", "swing"]) {
    bench.panel(what, {
      busy: pose.under,
      shown(el) {
        for (const b of el.querySelectorAll("[data-pose-command]")) b.addEventListener("click", () => pose.command(b.dataset.poseCommand));
        show();
      },
      key(e) {
        if (!pose.under() || pose.state.what !== what) return false;
        if (e.key === "Escape") { pose.command("stop"); return true; }
        return pose.key(e);
      },
    });
  }
})();
