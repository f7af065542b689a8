"use strict";
// The shell of the bench page: the path, the panels, the stream, forms and keys.
// A panel's own script registers with bench.panel(NAME, {shown, topic}).
const bench = (() => {
  const $ = (id) => document.getElementById(id);
  const words = JSON.parse($("words").textContent);
  const panels = {};   // hooks by panel
  const topics = {};   // listeners by topic
  const latest = {};   // newest value by topic
  let source = null;
  let open = "";       // the step that is shown
  let gone = false;

  // say is a text with its %s, %d, %.1f put in, in order.
  const say = (key, ...args) => (words[key] || key).replace(/%(?:\.(\d))?([sdf%])/g, (all, digits, kind) =>
    kind === "%" ? "%" : kind === "f" ? Number(args.shift()).toFixed(digits || 1) : String(args.shift()));

  // announce speaks an event in the status line, for eyes and screen readers.
  // What comes within a moment of another event is added to it, lest it be lost.
  const announce = (text) => {
    const el = $("status");
    const now = performance.now();
    el.textContent = now - announce.at < 700 ? `${el.textContent} · ${text}` : text;
    announce.at = now;
    el.dataset.fresh = "1";
    clearTimeout(announce.timer);
    announce.timer = setTimeout(() => delete el.dataset.fresh, 6000);
  };

  const kept = (key, fallback) => {
    try { return localStorage.getItem(key) ?? fallback; } catch { return fallback; }
  };
  const keep = (key, value) => { try { localStorage.setItem(key, value); } catch { /* private window */ } };

  // ---- panels ----
  const place = (name) => document.querySelector(`[data-panel="${name}"]`);
  const typing = (el) => el.contains(document.activeElement) && /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName);

  // inUse: nobody's field or form is drawn over.
  const inUse = (el) => typing(el) || el.querySelector("[data-busy]");

  // load fetches a panel anew; where politely, unless it came in use meanwhile.
  const load = async (name, query, politely) => {
    const el = place(name);
    if (!el) return;
    if (query !== undefined) el.dataset.query = query;
    const began = performance.now();
    try {
      const answer = await fetch(`/panel/${name}?${el.dataset.query || ""}`);
      const text = await answer.text();
      if (politely && inUse(el)) return;
      const focus = el.contains(document.activeElement) ? document.activeElement.id : "";
      if (answer.headers.get("Content-Type").startsWith("text/html")) el.innerHTML = text;
      else el.textContent = text;
      if (focus && $(focus)) $(focus).focus({ preventScroll: true });
    } catch { return; } // the stream says that the server is gone
    el.removeAttribute("aria-busy");
    el.dataset.loaded = "1";
    panels[name]?.shown?.(el);
    el.dispatchEvent(new CustomEvent("panelshown", { bubbles: true, detail: { name, began } }));
  };

  const refresh = (force) => {
    for (const el of document.querySelectorAll(".step:not([hidden]) [data-panel]")) {
      if (force || !inUse(el)) load(el.dataset.panel, undefined, !force);
    }
  };

  // post sends fields to /do/PANEL/ACTION; the answer is JSON, or it throws.
  const post = async (path, fields) => {
    let answer;
    try {
      answer = await fetch(`/do/${path}`, { method: "POST", body: new URLSearchParams(fields) });
    } catch {
      throw { error: say("shell.gone") };
    }
    const body = answer.headers.get("Content-Type").startsWith("application/json")
      ? await answer.json() : { error: (await answer.text()).trim() };
    if (!answer.ok) throw body;
    if (body && body.say) announce(body.say);
    return body;
  };

  const complain = (form, problem) => {
    const field = problem.field && form.elements[problem.field];
    const note = form.querySelector(".problem") || form.appendChild(Object.assign(document.createElement("p"), { className: "problem bad" }));
    note.setAttribute("role", "alert");
    note.id ||= `problem-${Math.random().toString(36).slice(2)}`;
    note.textContent = field && field.labels?.[0] ? `${field.labels[0].firstChild.textContent.trim()}: ${problem.error}` : problem.error;
    if (problem.hint) note.append(document.createElement("br"), problem.hint);
    for (const el of form.elements) { el.removeAttribute("aria-invalid"); el.removeAttribute("aria-describedby"); }
    if (field && field.setAttribute) {
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", note.id);
      field.focus();
    }
  };

  document.addEventListener("submit", async (e) => {
    const form = e.target;
    if (!form.dataset.ask && !form.dataset.do) return; // a download
    e.preventDefault();
    const fields = new URLSearchParams(new FormData(form, e.submitter));
    if (form.dataset.ask) { load(form.dataset.ask, fields.toString()); return; }
    form.dataset.busy = "1";
    try {
      const answer = await post(form.dataset.do, fields);
      form.querySelector(".problem")?.remove();
      delete form.dataset.busy;
      panels[form.dataset.do.split("/")[0]]?.did?.(form.dataset.do.split("/")[1], answer, form);
      const own = form.closest("[data-panel]");
      if (own && !form.hasAttribute("data-stay")) load(own.dataset.panel);
      path();
    } catch (problem) {
      delete form.dataset.busy;
      complain(form, problem.error ? problem : { error: say("shell.failed", problem) });
    }
  });
  document.addEventListener("change", (e) => {
    const form = e.target.form;
    if (form && form.dataset.ask && !form.hasAttribute("data-wait")) form.requestSubmit();
  });

  // ---- the path ----
  const path = async () => {
    let now;
    try { now = await (await fetch("/path")).json(); } catch { return; }
    if (!now.steps) return;
    if (now.craft) $("craft").textContent = now.craft;
    for (const step of now.steps) {
      const li = document.querySelector(`.tape [data-step="${step.name}"]`);
      li.dataset.state = step.state;
      li.querySelector(".st").textContent = say("state." + step.state);
      li.querySelector(".detail").textContent = step.detail;
    }
  };

  const go = (focus) => {
    let name = location.hash.slice(1);
    if (name === "main") return;
    if (!$("step-" + name)) {
      const next = document.querySelector('.tape [data-state="next"]') || document.querySelector(".tape li");
      name = next.dataset.step.toLowerCase();
    }
    if (name === open) return;
    open = name;
    for (const s of document.querySelectorAll(".step")) s.hidden = s.id !== "step-" + name;
    for (const a of document.querySelectorAll(".tape a")) {
      const here = a.getAttribute("href") === "#" + name;
      here ? a.setAttribute("aria-current", "step") : a.removeAttribute("aria-current");
      if (here) a.scrollIntoView({ block: "nearest", inline: "center" });
    }
    refresh(true);
    if (focus) { $("title-" + name).focus({ preventScroll: true }); scrollTo(0, 0); }
  };
  addEventListener("hashchange", () => go(true));

  // ---- the stream ----
  const on = (topic, fn) => {
    const first = !topics[topic];
    (topics[topic] ||= []).push(fn);
    if (first && source) listen(topic);
    if (topic in latest) fn(latest[topic]);
  };
  const listen = (topic) => source.addEventListener(topic, (e) => {
    const value = JSON.parse(e.data);
    latest[topic] = value;
    for (const fn of topics[topic]) fn(value);
  });

  const absent = (text) => {
    gone = true;
    document.body.dataset.gone = "1";
    $("gone").textContent = text;
    $("gone").hidden = false;
    for (const name in panels) panels[name].gone?.();
  };
  const present = () => {
    if (gone) announce(say("shell.back"));
    gone = false;
    delete document.body.dataset.gone;
    $("gone").hidden = true;
  };

  let epoch = "";
  let skew = 0;        // this clock less the server's, milliseconds
  const connect = () => {
    if (source || resting) return;
    source = new EventSource("/events");
    source.addEventListener("hello", (e) => {
      const hello = JSON.parse(e.data);
      const anew = gone || hello.missed || (epoch && epoch !== hello.epoch);
      epoch = hello.epoch;
      skew = Date.now() - hello.now_ms;
      present();
      if (anew) { path(); refresh(true); }
    });
    source.addEventListener("bye", () => { absent(say("shell.gone")); });
    source.onerror = () => {
      if (!gone) { // killed, it said no goodbye
        absent(say("shell.waiting"));
        setTimeout(() => { if (gone) absent(say("shell.gone")); }, 5000);
      }
      if (source.readyState !== EventSource.CLOSED) return;
      absent(say("shell.gone"));
      source = null;
      setTimeout(connect, 3000);
    };
    for (const topic in topics) listen(topic);
  };

  // A browser opens six connections to a server and no more, and a stream keeps
  // one for as long as it flows: with six pages open the seventh would wait. So
  // a page that is not looked at gives its stream up and takes it again when it
  // is shown; what it shows comes anew then. While something goes on it keeps
  // it, for the sounds, until another page of this browser is looked at.
  let resting = false;
  let otherMS = -Infinity; // when another page was looked at
  const rest = () => {
    const other = performance.now() - otherMS < 1000; // it may say so before this one knows that it is hidden
    const wanted = Object.values(panels).some((p) => p.busy?.()) || document.querySelector(".step:not([hidden]) .at-work");
    if (!document.hidden || !other && wanted) return;
    resting = true;
    source?.close();
    source = null;
  };
  const looked = () => {
    if (document.hidden) { rest(); return; }
    others?.postMessage("looked at");
    resting = false;
    connect();
  };
  let others = null;
  try {
    others = new BroadcastChannel("bench");
    others.onmessage = () => { otherMS = performance.now(); rest(); };
  } catch { /* an old browser: each page for itself */ }
  document.addEventListener("visibilitychange", looked);

  on("folder", () => { path(); refresh(false); });

  // ---- sound, keys ----
  const toggle = (id) => {
    const el = $(id);
    const show = (yes) => {
      el.setAttribute("aria-pressed", yes);
      el.textContent = say(`shell.${id}_${yes ? "on" : "off"}`);
      keep(id, yes ? "1" : "");
    };
    show(kept(id, "1") === "1");
    el.addEventListener("click", () => show(el.getAttribute("aria-pressed") !== "true"));
    return { get on() { return el.getAttribute("aria-pressed") === "true"; }, flip() { el.click(); } };
  };
  const sound = toggle("sound");
  const keys = toggle("keys");
  const showKeys = () => document.body.toggleAttribute("data-nokeys", !keys.on);
  $("keys").addEventListener("click", showKeys);
  showKeys();

  // Keys act where nobody types and nothing else would take them.
  document.addEventListener("keydown", (e) => {
    if (!keys.on || e.ctrlKey || e.altKey || e.metaKey || e.repeat) return;
    if (/^(INPUT|SELECT|TEXTAREA)$/.test(e.target.tagName)) return;
    if (e.key === " " && e.target.closest("button, summary") || e.key === "Enter" && e.target.closest("button, a, summary")) return;
    for (const el of document.querySelectorAll(".step:not([hidden]) [data-panel]")) {
      if (panels[el.dataset.panel]?.key?.(e)) { e.preventDefault(); taken = e.key; return; }
    }
  });
  // What a key did already, its character must not do again (space would scroll).
  let taken = "";
  document.addEventListener("keypress", (e) => { if (e.key === taken) e.preventDefault(); });
  document.addEventListener("keyup", () => { taken = ""; });

  // Audio needs a gesture first; one context serves the page.
  let audio = null;
  const wakeAudio = () => {
    try { audio ||= new AudioContext(); audio.resume(); } catch { /* no sound here */ }
  };
  addEventListener("pointerdown", wakeAudio);
  addEventListener("keydown", wakeAudio);

  // tones plays [hertz, seconds, pause] one after the other, softly: after what
  // is still sounding, or at once.
  let busy = 0;
  const tones = (list, atOnce) => {
    if (!sound.on || !audio || audio.state !== "running") return;
    let at = Math.max(audio.currentTime + 0.01, atOnce ? 0 : busy);
    for (const [hertz, length, rest] of list) {
      const osc = audio.createOscillator();
      const gain = audio.createGain();
      osc.frequency.value = hertz;
      gain.gain.setValueAtTime(0, at);
      gain.gain.linearRampToValueAtTime(0.25, at + 0.015);
      gain.gain.setValueAtTime(0.25, at + length - 0.03);
      gain.gain.linearRampToValueAtTime(0, at + length);
      osc.connect(gain).connect(audio.destination);
      osc.start(at);
      osc.stop(at + length);
      at += length + (rest || 0);
    }
    busy = at + 0.12;
  };

  // ---- small things for the panels' scripts ----
  const svg = (name, attributes, parent) => {
    const e = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const k in attributes) e.setAttribute(k, attributes[k]);
    parent?.appendChild(e);
    return e;
  };
  const text = (e, value) => { if (e && e.textContent !== value) e.textContent = value; };
  const li = (content, kind) => Object.assign(document.createElement("li"), { textContent: content, className: kind || "" });
  // list makes the children of e anew where the items have changed.
  const list = (e, items, make) => {
    const want = JSON.stringify(items);
    if (!e || e.dataset.has === want) return;
    e.dataset.has = want;
    e.replaceChildren(...items.map(make));
  };
  // sentence begins with a capital letter and ends with a full stop.
  const sentence = (s) => s ? s[0].toUpperCase() + s.slice(1) + (/[.?!]$/.test(s) ? "" : ".") : "";
  const number = (id) => Number($(id).value.replace(",", "."));

  const start = () => { looked(); connect(); go(false); };
  document.readyState === "complete" ? start() : addEventListener("load", start);

  return {
    say, announce, post, load, refresh, path, on, tones, sound, keys, $, svg, text, li, list, sentence, number,
    panel: (name, hooks) => { panels[name] = hooks; },
    get step() { return open; },
    get follows() { return !!source; },
    age: (ms) => Date.now() - skew - ms, // of a moment of the server's clock

    get audio() { return audio ? audio.state : "none"; },
  };
})();
