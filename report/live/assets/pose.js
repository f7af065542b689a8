// The arrow check and the swing: one sentence and one line drawing at a time.
(() => {
  const { say } = bench;
  const svgns = "http://www.w3.org/2000/svg";
  let pose = null, live = null;
  const under = (p) => p && /^(waiting|checklist|posing|held|lost)$/.test(p.phase);
  const place = () => pose && document.querySelector(`.pose[data-pose="${pose.what}"]`);
  const part = (name) => place()?.querySelector("." + name);
  const text = (name, value) => { const e = part(name); if (e && e.textContent !== value) e.textContent = value; };

  const command = async (kind) => {
    if (kind === "capture" && pose?.phase === "checklist") kind = "confirm";
    if (kind === "pause" && pose?.phase === "held") kind = "continue";
    try { await bench.post(pose.what + "/command", { kind }); } catch (p) { bench.announce(p.error); }
  };

  const shape = (kind, d, parent) => {
    const e = document.createElementNS(svgns, "path");
    e.setAttribute("class", kind);
    e.setAttribute("d", d);
    parent.appendChild(e);
  };
  const drawing = () => {
    const svg = part("p-drawing"), d = pose.drawing;
    const have = d ? pose.stop : "";
    if (!svg || svg.dataset.has === have) return;
    svg.dataset.has = have;
    svg.replaceChildren();
    if (!d) return;
    shape("ground", d.ground, svg);
    const n = document.createElementNS(svgns, "text");
    n.setAttribute("x", d.north[0]);
    n.setAttribute("y", d.north[1]);
    n.textContent = say(pose.what === "swing" ? "pose.zero" : "pose.north");
    for (const f of d.faces) {
      shape("face " + f.kind, f.path, svg);
      if (f.marks) shape("marks", f.marks, svg);
    }
    svg.appendChild(n); // above what it stands behind
  };
  const ring = () => {
    const frac = pose?.phase === "posing" && live ? live.frac : 0;
    part("fill")?.setAttribute("stroke-dasharray", `${(100 * frac).toFixed(0)} 100`);
    text("p-word", !pose ? "" : pose.phase === "posing" ? say("word." + (live?.word || "moving")) : say("word." + pose.phase));
  };
  const list = (name, items, make) => {
    const e = part(name), want = JSON.stringify(items);
    if (!e || e.dataset.has === want) return;
    e.dataset.has = want;
    e.replaceChildren(...items.map(make));
  };
  const li = (content, kind) => Object.assign(document.createElement("li"), { textContent: content, className: kind || "" });

  const show = () => {
    for (const box of document.querySelectorAll(".pose")) {
      const on = !!under(pose) && box.dataset.pose === pose.what;
      box.hidden = !on;
      box.toggleAttribute("data-busy", on);
      const setup = document.querySelector(`[data-setup="${box.dataset.pose}"]`);
      if (setup) setup.hidden = on;
      const over = box.parentElement.querySelector(".p-over");
      if (over) {
        const mine = pose && pose.what === box.dataset.pose && /^(done|failed)$/.test(pose.phase);
        over.hidden = !mine || pose.finished;
        over.textContent = mine ? pose.why : "";
      }
    }
    if (!under(pose) || !place()) return;
    const checking = pose.phase === "checklist";
    part("p-check").hidden = !checking;
    part("p-stage").hidden = checking;
    list("p-items", checking ? pose.items : [], (item) => li(item));
    text("p-words", pose.words ? pose.words[0].toUpperCase() + pose.words.slice(1) + "." : "");
    drawing();
    let current = pose.stops.findIndex((s) => s.name === pose.stop && !s.taken);
    if (current < 0) current = pose.stops.findIndex((s) => s.name === pose.stop);
    list("p-stops", pose.stops.map((s, i) => [s.name, s.taken ? "taken" : "", i === current]), ([name, kind, now]) => {
      const e = li(name, kind);
      if (now) e.setAttribute("aria-current", "step");
      return e;
    });
    text("p-progress", say("pose.progress", pose.visits_done, pose.visits_planned));
    const alert = part("p-alert");
    alert.hidden = !/^(lost|held)$/.test(pose.phase);
    alert.textContent = pose.why;
    list("p-log", [...pose.log].reverse(), (l) => li(l.text, l.kind));
    ring();
  };

  const cues = {
    captured: [[660, 0.12, 0.03], [990, 0.22]],
    rejected: [[220, 0.14, 0.07], [220, 0.14, 0.07], [220, 0.14]],
    go: [[440, 0.07]],
    lost: [[330, 0.3, 0.05], [220, 0.5]],
    back: [[392, 0.15, 0.04], [587, 0.25]],
    done: [[523, 0.15, 0.03], [659, 0.15, 0.03], [784, 0.4]],
    warning: [[300, 0.1, 0.1], [360, 0.1]],
  };
  bench.on("pose", (p) => {
    const ended = under(pose) && !under(p), begun = !under(pose) && under(p);
    pose = p;
    if (begun && bench.step === "glue") place()?.scrollIntoView({ block: "start" });
    show();
    if (ended) bench.load(p.what);
  });
  bench.on("pose_live", (l) => { live = l; requestAnimationFrame(ring); });
  bench.on("pose_said", (s) => {
    if (s.text) bench.announce(s.text);
    if (cues[s.kind]) bench.tones(cues[s.kind]);
  });

  const hooks = (what) => ({
    busy: () => under(pose),
    shown(el) {
      for (const b of el.querySelectorAll("[data-pose-command]")) b.addEventListener("click", () => command(b.dataset.poseCommand));
      show();
    },
    key(e) {
      if (!under(pose) || pose.what !== what) return false;
      switch (e.key) {
        case " ": case "Enter": command("capture"); return true;
        case "Backspace": command("redo"); return true;
        case "s": case "S": command("skip"); return true;
        case "p": case "P": command("pause"); return true;
        case "Escape": command("stop"); return true;
      }
      return false;
    },
  });
  bench.panel("arrow", hooks("arrow"));
  bench.panel("swing", hooks("swing"));
})();
