// The walk: what the server says of a run is drawn here; nothing is decided here.
(() => {
  const { say, $ } = bench;
  const svg = (name, attributes, parent) => {
    const e = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const k in attributes) e.setAttribute(k, attributes[k]);
    parent?.appendChild(e);
    return e;
  };
  const text = (id, value) => { const e = $(id); if (e && e.textContent !== value) e.textContent = value; };
  let walk = null;      // the newest state
  let live = null;      // the newest reading
  let flash = "";       // a word that stays for a moment: saved, rejected
  let flashTimer = 0;
  let asked = false;    // a capture was asked for and has not begun
  let beat = -1;        // the second before a switch that was ticked last
  let lock = null;      // keeps the screen on
  const under = () => walk && /^(waiting|checklist|walking|held|lost)$/.test(walk.phase);

  const command = async (kind, value) => {
    if (kind === "capture" && walk?.phase === "checklist") kind = "confirm";
    if (kind === "pause" && walk?.phase === "held") kind = "continue";
    asked = kind === "capture";
    try { await bench.post("walk/command", { kind, text: value || "" }); } catch (p) { bench.announce(p.error); }
    word();
  };

  const duration = (s) => s < 90 ? say("walk.seconds", Math.round(s)) : say("walk.minutes_left", Math.round(s / 60));
  const short = (v) => v >= 99.5 ? v.toFixed(0) : v.toFixed(1);

  // ---- the word and the ring, at the pace of the readings ----
  const word = () => {
    const dial = $("w-dial");
    if (!dial || !walk) return;
    let w = live?.word || "moving";
    if (asked && w !== "hold") w = "settling";
    if (flash) w = flash;
    if (walk.phase !== "walking") w = walk.phase;
    const stale = walk.phase === "walking" && live && bench.age(live.at_ms) > 700;
    dial.toggleAttribute("data-stale", !!stale || walk.phase === "lost");
    if (dial.dataset.word !== (stale ? "nodata" : w)) dial.dataset.word = stale ? "nodata" : w;
    text("w-word", stale ? say("walk.no_data") : say("word." + (w === "hold" && walk.pulsed ? "leave" : w)));
  };
  const draw = () => {
    draw.asked = false;
    const fill = $("w-fill");
    if (!fill || !live || !walk) return;
    const frac = walk.phase === "walking" ? live.frac : 0;
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
    const box = $("w-pulse"), r = walk.rhythm;
    const show = !!r && walk.load_on !== null;
    if (box.hidden === show) box.hidden = !show;
    if (!show) { beat = -1; return; }
    box.dataset.on = walk.load_on ? "1" : "";
    text("w-load", say(walk.load_on ? "word.on" : "word.off"));
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
      g = svg("g", { class: "st", "data-name": mark.name, "data-x": mark.at_mm[1], "data-y": -mark.at_mm[0] }, $("w-stations"));
    }
    return g;
  };
  const disc = (g) => {
    if (!g || g.firstElementChild) return;
    const r = Number($("w-plan").dataset.radius), x = g.dataset.x, y = g.dataset.y;
    svg("circle", { cx: x, cy: y, r }, g);
    svg("text", { x, y, "font-size": 0.8 * r }, g);
    svg("title", {}, g);
    g.addEventListener("click", () => { if (under() && walk.phase !== "checklist") command("goto", g.dataset.name); });
  };
  const plan = () => {
    const holder = $("w-stations");
    if (!holder) return;
    const r = Number($("w-plan").dataset.radius);
    for (const m of walk.marks) place(m);
    for (const g of holder.children) disc(g);
    const values = walk.marks.filter((m) => m.value_ut > 0).map((m) => Math.log(m.value_ut));
    const low = Math.min(...values), high = Math.max(...values);
    const known = new Map(walk.marks.map((m) => [m.name, m]));
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
    const next = $("w-next"), g = under() && walk.station && station(walk.station);
    next.replaceChildren();
    if (g) {
      const x = Number(g.dataset.x), y = Number(g.dataset.y);
      svg("circle", { cx: x, cy: y, r: 1.75 * r }, next);
      svg("path", { d: `M${x - 3 * r} ${y}h${1.25 * r}M${x + 3 * r} ${y}h${-1.25 * r}M${x} ${y - 3 * r}v${1.25 * r}M${x} ${y + 3 * r}v${-1.25 * r}` }, next);
    }
    text("w-key", say(walk.pulsed ? "walk.nose_up_pulsed" : "walk.nose_up"));
  };

  // ---- the rest of the state ----
  const list = (id, items, make) => {
    const e = $(id);
    const want = JSON.stringify(items);
    if (!e || e.dataset.has === want) return;
    e.dataset.has = want;
    e.replaceChildren(...items.map(make));
  };
  const li = (content, kind) => Object.assign(document.createElement("li"), { textContent: content, className: kind || "" });

  const show = () => {
    $("walkword").hidden = !under() || bench.step === "walk";
    text("walkword", under() ? say("walk.word", walk.state, walk.station || "–") : "");
    const run = $("walk-run");
    if (!run || !walk) return;
    const on = under();
    run.hidden = !on;
    $("walk-setup").hidden = on;
    const over = walk.phase === "done" || walk.phase === "failed";
    $("walk-done").hidden = !over;
    if (over) {
      text("d-title", walk.phase === "failed" ? say("walk.failed_title") : !walk.run ? say("walk.not_begun")
        : say(walk.finished ? "walk.done_title" : "walk.stopped_title", walk.run));
      text("d-why", walk.why);
    }
    awake(on);
    if (!on) return;
    const checking = walk.phase === "checklist";
    $("w-list").hidden = !checking;
    $("w-stage").hidden = checking;
    for (const id of ["w-dock", "w-more", "w-below"]) $(id).hidden = checking;
    list("w-items", (checking ? walk.checklist : []).map((item, i) => [item, i < walk.confirmed ? "ok" : i === walk.confirmed ? "now" : ""]), ([item, kind]) => {
      const e = li(item, kind);
      if (kind === "now") {
        e.setAttribute("aria-current", "step");
        requestAnimationFrame(() => e.scrollIntoView({ block: "center" }));
      }
      return e;
    });
    text("w-visit", walk.visit ? say("visit." + walk.visit) : "");
    text("w-name", walk.station);
    $("w-name").style.setProperty("--chars", [...walk.station].length);
    text("w-at", walk.station ? say("walk.mm", walk.station, ...walk.at_mm.map((v) => Math.round(v))) : "");
    const alert = walk.phase === "lost" || walk.phase === "held" ? walk.why : "";
    $("w-alert").hidden = !alert;
    text("w-alert", alert);
    $("w-bar").max = Math.max(1, walk.visits_planned);
    $("w-bar").value = walk.visits_done;
    let progress = walk.visits_planned ? say("walk.progress_text", walk.visits_done, walk.visits_planned, duration(walk.left_s)) : "";
    if (walk.base && progress && walk.visit !== "base") {
      progress += ", " + (walk.base_return_in > 0 ? say("walk.base_in", walk.base_return_in) : say("walk.base_next"));
    }
    text("w-progress", progress);
    $("w-pause").firstChild.textContent = say(walk.phase === "held" ? "walk.go_on" : "walk.pause") + " ";
    $("w-base").hidden = !walk.base;
    list("w-log", [...walk.log].reverse(), (l) => li(l.text, l.kind));
    list("w-other", walk.marks.map((m) => m.name), (name) => Object.assign(document.createElement("option"), { textContent: name }));
    plan();
    word();
    if (!live) return;
    draw();
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
    const have = walk ? walk.marks.reduce((n, m) => n + m.captures, 0) : 0;
    if (drawing || !under() || !walk.run || have === drawnWith || have < 4 || !$("w-map") || bench.step !== "walk" || walk.state === "background") return;
    drawing = true;
    drawnWith = have;
    try {
      const answer = await fetch(`/file/walk/map?state=${encodeURIComponent(walk.state)}`);
      const map = await answer.json();
      const img = $("w-map");
      if (map.svg) img.src = "data:image/svg+xml," + encodeURIComponent(map.svg);
      img.hidden = !img.src;
      text("w-mapword", map.svg ? say("walk.map_wait", have) : map.why || map.error);
    } catch { /* the stream says that the server is gone */ }
    drawing = false;
  };
  setInterval(grow, 2000);

  // ---- cues ----
  const cues = {
    captured: [[660, 0.12, 0.03], [990, 0.22]],
    rejected: [[220, 0.14, 0.07], [220, 0.14, 0.07], [220, 0.14]],
    base: [[523, 0.16, 0.05], [392, 0.16, 0.05], [523, 0.3]],
    go: [[440, 0.07]],
    lost: [[330, 0.3, 0.05], [220, 0.5]],
    back: [[392, 0.15, 0.04], [587, 0.25]],
    done: [[523, 0.15, 0.03], [659, 0.15, 0.03], [784, 0.4]],
    warning: [[300, 0.1, 0.1], [360, 0.1]],
  };
  bench.on("walk_cue", (c) => {
    if (c.kind === "captured" || c.kind === "rejected") {
      flash = c.kind === "captured" ? "saved" : "rejected";
      asked = false;
      clearTimeout(flashTimer);
      flashTimer = setTimeout(() => { flash = ""; word(); }, c.kind === "captured" ? 1500 : 3000);
    }
    const old = bench.age(c.at_ms) > 3000; // replayed after an absence
    if (c.text) bench.announce(c.text);
    if (!old && (c.kind === "go" || c.kind === "base")) bench.announce(say("walk.next_is", c.station));
    if (!old && c.kind === "load") bench.announce(say(c.on ? "word.on" : "word.off"));
    if (old) return;
    if (c.kind === "load") bench.tones([c.on ? [880, 0.4] : [440, 0.4]], true);
    else if (cues[c.kind]) bench.tones(cues[c.kind]);
    bench.lastCue = c.kind;
  });
  bench.on("walk", (w) => {
    const was = under(), list = walk?.phase === "checklist";
    walk = w;
    if (under() && (!was || list && w.phase !== "checklist")) scrollTo(0, 0);
    if (was && !under()) { drawnWith = -1; bench.load("walk"); }
    show();
  });
  bench.on("walk_live", (l) => {
    live = l;
    if (draw.asked) return;
    draw.asked = true;
    requestAnimationFrame(draw);
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
      for (const b of el.querySelectorAll("[data-command]")) b.addEventListener("click", () => command(b.dataset.command));
      $("w-base")?.addEventListener("click", () => command("goto", walk.base));
      const stop = $("w-stop");
      stop?.addEventListener("click", () => {
        if (stop.dataset.sure) { command("stop"); return; }
        stop.dataset.sure = "1";
        stop.textContent = say("walk.stop_sure");
        setTimeout(() => { delete stop.dataset.sure; stop.textContent = say("walk.stop"); }, 4000);
      });
      if (walk) show();
    },
    did(action) {
      if (action === "command" && $("w-note")) { $("w-note").value = ""; document.activeElement.blur(); }
    },
    key(e) {
      if (!under()) return false;
      if (walk.phase === "checklist" || walk.phase === "waiting") {
        if (walk.phase === "checklist" && (e.key === " " || e.key === "Enter")) { command("confirm"); return true; }
        if (e.key === "Escape") { command("stop"); return true; }
        return false;
      }
      switch (e.key) {
        case " ": case "Enter": command("capture"); return true;
        case "Backspace": command("redo"); return true;
        case "s": case "S": command("skip"); return true;
        case "b": case "B": if (walk.base) command("goto", walk.base); return true;
        case "p": case "P": command("pause"); return true;
        case "n": case "N": $("w-note").focus(); return true;
        case "m": case "M": bench.sound.flip(); return true;
      }
      return false;
    },
    busy: under,
    gone() { word(); },
  });
})();
