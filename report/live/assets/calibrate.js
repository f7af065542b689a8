// The calibration: the hand turns the probe, the two halves of the sphere fill.
(() => {
  const { say, $ } = bench;
  let turn = null, was = "";
  const under = () => turn && /^(waiting|turning|lost|fitting)$/.test(turn.phase);
  const text = (id, value) => bench.text($(id), value);

  // Lambert's azimuthal equal-area projection, x up and y to the right, radius 100.
  const put = (kind, u) => {
    const halves = document.querySelectorAll("#c-turn .c-half");
    halves.forEach((half, i) => {
      const mark = half.querySelector(kind);
      const here = !!u && (u[2] >= 0) === (i === 0);
      mark.toggleAttribute("hidden", !here);
      if (!here) return;
      const k = 100 / Math.sqrt(1 + Math.abs(u[2]));
      mark.setAttribute("transform", `translate(${(k * u[1]).toFixed(1)} ${(-k * u[0]).toFixed(1)})`);
    });
  };
  const draw = () => {
    draw.asked = false;
    if (!$("c-turn") || !turn) return;
    const on = !!under();
    const box = $("c-turn");
    box.hidden = !on;
    box.toggleAttribute("data-busy", on);
    box.dataset.phase = turn.phase;
    $("c-setup").hidden = on;
    answer();
    if (!on) return;
    const seen = new Set(turn.cells);
    for (const cell of box.querySelectorAll(".c-cell")) cell.classList.toggle("seen", seen.has(Number(cell.dataset.cell)));
    put(".c-now", turn.now);
    put(".c-gap", turn.gap);
    text("c-hint", bench.sentence(turn.phase === "turning" ? turn.hint || say("calibrate.just_turn") : say("word." + turn.phase)));
    $("c-bar").max = turn.enough;
    $("c-bar").value = Math.min(turn.sphere_covered, turn.enough);
    text("c-progress", say("calibrate.progress", Math.round(100 * turn.sphere_covered), Math.round(100 * turn.enough), Math.round(turn.seconds), Math.round(turn.for_s)));
    $("c-alert").hidden = turn.phase !== "lost";
    text("c-alert", turn.why);
    for (const id of ["c-end", "c-stop"]) $(id).disabled = turn.phase === "fitting";
  };
  const fact = (name, value) => [Object.assign(document.createElement("dt"), { textContent: name }), Object.assign(document.createElement("dd"), { textContent: value })];
  const answer = () => {
    const a = turn.answer, over = turn.phase === "done" || turn.phase === "failed";
    $("c-answer").hidden = !over;
    if (!over) return;
    const word = $("c-verdict");
    word.className = "verdict " + (a?.accepted ? "yes" : "no");
    word.textContent = a ? (a.accepted ? say("calibrate.accepted", a.id) : say("calibrate.refused")) : turn.why;
    text("c-why", a?.accepted ? a.why : "");
    text("c-promise", bench.sentence(a?.steady_promise ? a.steady_promise.why.replaceAll(" uT", " µT") : a ? turn.why : ""));
    if ($("c-promise")) $("c-promise").className = a?.steady_promise && !a.steady_promise.kept ? "bad" : "";
    const said = a ? [...a.refusals, ...a.remarks].map((r) => r.text) : [];
    $("c-said").replaceChildren(...said.map((s) => bench.li(s)));
    const v = (x, n) => {
      if (x === null || x === undefined) return "–";
      const text = x.toFixed(n);
      return Number(text) === 0 ? (0).toFixed(n) : text; // no sign on a zero
    };
    $("c-facts").replaceChildren(...(a && a.parameters > 0 ? [
      ...fact(say("calibrate.offset"), a.offset_ut.map((x, i) => `${v(x, 1)} ± ${v(a.offset_standard_uncertainty_ut[i], 1)}`).join(",  ") + " µT"),
      ...fact(say("calibrate.error"), v(a.expected_error_ut, 2) + " µT"),
      ...fact(say("calibrate.covered"), say("calibrate.percent", Math.round(100 * a.sphere_covered))),
      ...fact(say("calibrate.readings"), String(a.samples)),
    ] : []));
  };
  const command = async (action) => { try { await bench.post("calibrate/" + action, {}); } catch (p) { bench.announce(p.error); } };

  bench.on("calibrate", (t) => {
    turn = t;
    if (was && /^(done|failed)$/.test(t.phase) && was !== t.phase) bench.load("calibrate");
    if (under() && !/^(waiting|turning|lost|fitting)$/.test(was)) scrollTo(0, 0);
    was = t.phase;
    if (draw.asked) return;
    draw.asked = true;
    requestAnimationFrame(draw);
  });
  bench.on("calibrate_said", (s) => {
    bench.announce(s.text);
    guided.sound(s.phase === "done" ? "done" : "refused");
  });
  bench.panel("calibrate", {
    shown() {
      $("c-end")?.addEventListener("click", () => command("end"));
      $("c-stop")?.addEventListener("click", () => command("stop"));
      draw();
    },
    busy: under,
    key(e) {
      if (!under() || turn.phase === "fitting") return false;
      if (e.key === " " || e.key === "Enter") { command("end"); return true; }
      if (e.key === "Escape") { command("stop"); return true; }
      return false;
    },
  });
})();
