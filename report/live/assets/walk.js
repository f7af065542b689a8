// The walk: what the server says of a run is drawn here; nothing is decided here.
(() => {
  const { say, $ } = bench;
  const text = (id, value) => bench.text($(id), value);
  let flash = "";       // a word that stays for a moment: saved, rejected
  let flashTimer = 0;
  let asked = false;    // a capture was asked for and has not begun
  let beat = -1;        // the second before a switch that was ticked last
  let lock = null;      // keeps the screen on

  const duration = (s) => s < 90 ? say("walk.seconds", Math.round(s)) : say("walk.minutes_left", Math.round(s / 60));
  const short = (v) => v >= 99.5 ? v.toFixed(0) : v.toFixed(1);

  // ---- the word and the ring, at the pace of the readings ----
  const word = () => {
    const dial = $("w-dial");
    const s = run.state, live = run.live;
    if (!dial || !s) return;
    let w = live?.word || "moving";
    if (asked && w !== "hold") w = "settling";
    if (flash) w = flash;
    if (s.phase !== "measuring") w = s.phase;
    const stale = s.phase === "measuring" && live && bench.age(live.at_ms) > 700;
    dial.toggleAttribute("data-stale", !!stale || s.phase === "lost");
    if (dial.dataset.word !== (stale ? "nodata" : w)) dial.dataset.word = stale ? "nodata" : w;
    text("w-word", stale ? say("walk.no_data") : say("word." + (w === "hold" && s.pulsed ? "leave" : w)));
  };
  const draw = () => {
    const fill = $("w-fill");
    const s = run.state, live = run.live;
    if (!fill || !live || !s) return;
    const frac = s.phase === "measuring" ? live.frac : 0;
    fill.setAttribute("stroke-dasharray", `${(100 * frac).toFixed(1)} 100`);
    const known = live.departure_ut !== null;
    const v = known ? live.departure_ut : live.b_ut;
    text("w-what", known ? say("walk.departure") : say("walk.field"));
    text("w-value", short(v));
    word();
    pulse(frac);
    bench.drawn = { at_ms: live.at_ms, now_ms: Date.now() };
  };
  setInterval(word, 500);

  // ---- pulses: the rhythm seen and heard ----
  const pulse = (frac) => {
    const box = $("w-pulse"), s = run.state, r = s.rhythm;
    const show = !!r && s.load_on !== null;
    if (box.hidden === show) box.hidden = !show;
    if (!show) { beat = -1; return; }
    box.dataset.on = s.load_on ? "1" : "";
    text("w-load", say(s.load_on ? "word.on" : "word.off"));
    const beats = $("w-beats");
    if (beats.childElementCount !== 2 * r.pulses + 1) {
      beats.replaceChildren();
      beats.classList.toggle("many", r.pulses > 15);
      for (let i = 0; i <= 2 * r.pulses; i++) {
        const e = beats.appendChild(document.createElement("i"));
        e.className = i % 2 ? "on" : "";
        e.style.flexGrow = i % 2 ? r.on_s : r.off_s;
        e.appendChild(document.createElement("b"));
      }
    }
    const whole = r.off_s + r.pulses * (r.on_s + r.off_s);
    const at = frac * whole;
    let from = 0;
    [...beats.children].forEach((e, i) => {
      const length = i % 2 ? r.on_s : r.off_s;
      const full = Math.max(0, Math.min(1, (at - from) / length)).toFixed(3);
      if (e.dataset.full !== full) { // only the beat under way: the others cost nothing
        e.dataset.full = full;
        e.style.setProperty("--f", full);
      }
      if (at >= from && at < from + length) {
        const left = Math.ceil(from + length - at);
        text("w-count", i < 2 * r.pulses ? String(left) : "");
        const id = 100 * i + left;
        if (left <= 2 && id !== beat && i < 2 * r.pulses && from + length - at > 0.3) { beat = id; bench.tones([[1200, 0.04]], true); }
      }
      from += length;
    });
  };

  // ---- the plan ----
  const station = (name) => document.querySelector(`#w-stations [data-name="${CSS.escape(name)}"]`);
  const place = (mark) => {
    let g = station(mark.name);
    if (!g && $("w-stations")) {
      g = bench.svg("g", { class: "st", "data-name": mark.name, "data-x": mark.at_mm[1], "data-y": -mark.at_mm[0] }, $("w-stations"));
    }
    return g;
  };
  const disc = (g) => {
    if (!g || g.firstElementChild) return;
    const r = Number($("w-plan").dataset.radius), x = g.dataset.x, y = g.dataset.y;
    bench.svg("circle", { cx: x, cy: y, r }, g);
    bench.svg("text", { x, y, "font-size": 0.8 * r }, g);
    bench.svg("title", {}, g);
    g.addEventListener("click", () => { if (run.under() && run.state.phase !== "checklist") run.command("goto", g.dataset.name); });
  };
  const plan = () => {
    const holder = $("w-stations"), s = run.state;
    if (!holder) return;
    const r = Number($("w-plan").dataset.radius);
    for (const m of s.marks) place(m);
    for (const g of holder.children) disc(g);
    const values = s.marks.filter((m) => m.value_ut > 0).map((m) => Math.log(m.value_ut));
    const low = Math.min(...values), high = Math.max(...values);
    const known = new Map(s.marks.map((m) => [m.name, m]));
    for (const g of holder.children) {
      const m = known.get(g.dataset.name);
      g.classList.toggle("done", !!m && m.captures > 0);
      g.classList.toggle("skipped", !!m && m.skipped);
      g.classList.toggle("out", !m);
      const [circle, label, title] = g.children;
      let share = 0;
      if (m && m.value_ut !== null && !g.classList.contains("base")) {
        share = high > low ? Math.max(0, (Math.log(Math.max(m.value_ut, 1e-9)) - low) / (high - low)) : 0.5;
        label.textContent = m.value_ut >= 9.95 ? m.value_ut.toFixed(0) : m.value_ut.toFixed(1);
        title.textContent = say("walk.marked", m.name, m.value_ut.toFixed(2), m.captures);
      } else {
        label.textContent = g.dataset.name;
        title.textContent = g.dataset.name;
      }
      label.setAttribute("font-size", (label.textContent.length > 3 ? 2.4 / label.textContent.length : 0.8) * r);
      circle.style.fill = share ? `color-mix(in oklab, var(--sheet), var(--mark) ${Math.round(15 + 85 * share)}%)` : "";
      label.style.fill = share > 0.5 ? "var(--on-mark)" : "";
    }
    const next = $("w-next"), g = run.under() && s.station && station(s.station);
    next.replaceChildren();
    if (g) {
      const x = Number(g.dataset.x), y = Number(g.dataset.y);
      bench.svg("circle", { cx: x, cy: y, r: 1.75 * r }, next);
      bench.svg("path", { d: `M${x - 3 * r} ${y}h${1.25 * r}M${x + 3 * r} ${y}h${-1.25 * r}M${x} ${y - 3 * r}v${1.25 * r}M${x} ${y + 3 * r}v${-1.25 * r}` }, next);
    }
    text("w-key", say(s.pulsed ? "walk.nose_up_pulsed" : "walk.nose_up"));
  };

  // ---- the rest of the state ----
  const show = () => {
    const s = run.state, on = run.under();
    $("walkword").hidden = !on || bench.step === "walk";
    text("walkword", on ? say("walk.word", s.state, s.station || "–") : "");
    if (!$("walk-run") || !s) return;
    $("walk-run").hidden = !on;
    $("walk-setup").hidden = on;
    const over = s.phase === "done" || s.phase === "failed";
    $("walk-done").hidden = !over;
    if (over) {
      text("d-title", s.phase === "failed" ? say("walk.failed_title") : !s.run ? say("walk.not_begun")
        : say(s.finished ? "walk.done_title" : "walk.stopped_title", s.run));
      text("d-why", s.why);
    }
    awake(on);
    if (!on) return;
    const checking = s.phase === "checklist";
    $("w-list").hidden = !checking;
    $("w-stage").hidden = checking;
    for (const id of ["w-dock", "w-more", "w-below"]) $(id).hidden = checking;
    run.checklist($("w-items"));
    text("w-visit", s.visit ? say("visit." + s.visit) : "");
    text("w-name", s.station);
    $("w-name").style.setProperty("--chars", [...s.station].length);
    text("w-at", s.station ? say("walk.mm", s.station, ...s.at_mm.map((v) => Math.round(v))) : "");
    const alert = s.phase === "lost" || s.phase === "held" ? s.why : "";
    $("w-alert").hidden = !alert;
    text("w-alert", alert);
    $("w-bar").max = Math.max(1, s.visits_planned);
    $("w-bar").value = s.visits_done;
    let progress = s.visits_planned ? say("walk.progress_text", s.visits_done, s.visits_planned, duration(s.left_s)) : "";
    if (s.base && progress && s.visit !== "base") {
      progress += ", " + (s.base_return_in > 0 ? say("walk.base_in", s.base_return_in) : say("walk.base_next"));
    }
    text("w-progress", progress);
    $("w-pause").firstChild.textContent = say(s.phase === "held" ? "walk.go_on" : "walk.pause") + " ";
    $("w-base").hidden = !s.base;
    run.log($("w-log"));
    bench.list($("w-other"), s.marks.map((m) => m.name), (name) => Object.assign(document.createElement("option"), { textContent: name }));
    plan();
    word();
    if (run.live) draw();
  };

  const awake = async (on) => {
    if (on === !!lock || !navigator.wakeLock) return;
    const old = lock;
    lock = on ? {} : null;
    try {
      if (on) { lock = await navigator.wakeLock.request("screen"); lock.addEventListener("release", () => { lock = null; }); }
      else await old.release?.();
    } catch { /* the screen may go dark */ }
  };

  // ---- the map grows: one picture at a time ----
  let drawing = false, drawnWith = -1;
  const grow = async () => {
    const s = run.state;
    const have = s ? s.marks.reduce((n, m) => n + m.captures, 0) : 0;
    if (drawing || !run.under() || !s.run || have === drawnWith || have < 4 || !$("w-map") || bench.step !== "walk" || s.state === "background") return;
    drawing = true;
    drawnWith = have;
    try {
      const answer = await fetch(`/file/walk/map?state=${encodeURIComponent(s.state)}`);
      const map = await answer.json();
      const img = $("w-map");
      if (map.svg) img.src = "data:image/svg+xml," + encodeURIComponent(map.svg);
      img.hidden = !img.src;
      text("w-mapword", map.svg ? say("walk.map_wait", have) : map.why || map.error);
    } catch { /* the stream says that the server is gone */ }
    drawing = false;
  };
  setInterval(grow, 2000);

  const run = guided.follow("walk", {
    to: () => "walk",
    shown: show,
    reading: () => { if (run.live) draw(); else word(); },
    began() { scrollTo(0, 0); },
    ended() { drawnWith = -1; bench.load("walk"); },
    asked(kind) { asked = kind === "capture"; },
    cue(c) {
      if (c.kind !== "captured" && c.kind !== "rejected") return;
      flash = c.kind === "captured" ? "saved" : "rejected";
      asked = false;
      clearTimeout(flashTimer);
      flashTimer = setTimeout(() => { flash = ""; word(); }, c.kind === "captured" ? 1500 : 3000);
    },
  });

  // ---- controls ----
  const fieldsFor = (form) => {
    const state = form.querySelector('[name="state"]:checked');
    const is = (key) => state?.dataset[key] === "true";
    for (const [selector, yes] of [[".for-load", is("load")], [".for-current", is("current")], [".for-begun", is("begun")]]) {
      for (const e of form.querySelectorAll(selector)) {
        e.hidden = !yes;
        for (const i of e.querySelectorAll("input")) i.disabled = !yes;
      }
    }
    $("w-pulsed").checked = is("load");
    $("w-resume").checked = is("begun");
    $("w-most").value = state?.dataset.most || "";
  };

  addEventListener("hashchange", () => setTimeout(show));

  bench.panel("walk", {
    shown(el) {
      const form = $("w-begin");
      if (form) {
        fieldsFor(form);
        form.addEventListener("change", (e) => { if (e.target.name === "state") fieldsFor(form); });
      }
      for (const b of el.querySelectorAll("[data-command]")) b.addEventListener("click", () => run.command(b.dataset.command));
      $("w-base")?.addEventListener("click", () => run.command("goto", run.state.base));
      const stop = $("w-stop");
      stop?.addEventListener("click", () => {
        if (stop.dataset.sure) { run.command("stop"); return; }
        stop.dataset.sure = "1";
        stop.textContent = say("walk.stop_sure");
        setTimeout(() => { delete stop.dataset.sure; stop.textContent = say("walk.stop"); }, 4000);
      });
      if (run.state) show();
    },
    did(action) {
      if (action === "command" && $("w-note")) { $("w-note").value = ""; document.activeElement.blur(); }
    },
    key(e) {
      if (run.key(e)) return true;
      if (!run.under() || /^(waiting|checklist)$/.test(run.state.phase)) return false;
      switch (e.key.toLowerCase()) {
        case "b": if (run.state.base) run.command("goto", run.state.base); return true;
        case "n": $("w-note").focus(); return true;
        case "m": bench.sound.flip(); return true;
      }
      return false;
    },
    busy: run.under,
    gone() { word(); },
  });
})();
