// Numbers of the map at the pointer, the cross and the form. Values come from a
// lattice and are taken in between by straight lines.
bench.panel("map", {
  async shown(el) {
    bench.unfold(el);
    const chart = el.querySelector("#m-chart");
    if (!chart) return;
    const $ = bench.$;
    let v;
    try { v = await (await fetch(chart.dataset.values)).json(); } catch { return; }
    if (!v.stations || !chart.isConnected) return;
    const { w, h, across, down, scale } = Object.fromEntries(Object.entries(chart.dataset).map(([k, s]) => [k, Number(s)]));
    const key = "x" in bench.mapAt ? bench.mapAt : Object.assign(bench.mapAt, { x: 0, y: 0, set: false });

    // between is a list's value between nodes; null where a neighbour has none.
    const between = (list, fi, fj) => {
      const i = Math.floor(fi), j = Math.floor(fj), a = fi - i, b = fj - j;
      const n = (p, q) => list[Math.min(q, v.rows - 1) * v.columns + Math.min(p, v.columns - 1)];
      let sum = 0;
      for (const [p, q, k] of [[i, j, (1 - a) * (1 - b)], [i + 1, j, a * (1 - b)], [i, j + 1, (1 - a) * b], [i + 1, j + 1, a * b]]) {
        if (k < 1e-9) continue;
        const x = n(p, q);
        if (x === null || x === undefined) return list[Math.round(fj) * v.columns + Math.round(fi)] ?? null;
        sum += k * x;
      }
      return sum;
    };
    const at = (x, y) => {
      const near = v.stations.find((s) => Math.hypot(s.x_mm - x, s.y_mm - y) * scale < 9);
      if (!v.columns) return { ground: near ? "k" : ".", station: near };
      const fi = (y - v.y_mm) / v.step_mm, fj = (x - v.x_mm) / v.step_mm;
      if (fi < 0 || fj < 0 || fi > v.columns - 1 || fj > v.rows - 1) return { ground: ".", station: near };
      let k = Math.round(fj) * v.columns + Math.round(fi);
      if (v.ground[k] === "." && near) { // a station on the rim: take the node inside
        k = [[0, 0], [1, 0], [0, 1], [1, 1]].map(([a, b]) => (Math.floor(fj) + b) * v.columns + Math.floor(fi) + a).find((n) => v.ground[n] && v.ground[n] !== ".") ?? k;
      }
      const out = { ground: v.ground[k], station: near };
      if (out.ground !== "." && out.ground !== "l") {
        for (const name of ["heading_error_deg", "heading_error_upper95_deg", "disturbance_ut", "disturbance_upper95_ut"]) out[name] = between(v[name], fi, fj) ?? v[name][k];
      }
      return out;
    };
    const error = (r) => {
      if (r.heading_error_deg == null) return "–";
      return r.heading_error_deg > 179.9 ? bench.say("map.any") : bench.say("map.error_text", r.heading_error_deg, r.heading_error_upper95_deg);
    };
    const field = (r) => {
      if (r.disturbance_ut == null) return "–";
      return r.disturbance_upper95_ut == null ? bench.say("map.field_only", r.disturbance_ut) : bench.say("map.field_text", r.disturbance_ut, r.disturbance_upper95_ut);
    };
    const ground = (r) => bench.say({ ".": "map.off", k: "map.known", d: "map.doubtful", l: "map.lead" }[r.ground]);
    const measured = (s) => {
      if (!s) return "–";
      if (s.heading_error_deg == null) return s.disturbance_ut == null ? bench.say("map.nothing") : bench.say("map.field_only", s.disturbance_ut);
      return s.heading_error_deg > 179.9 ? bench.say("map.any") : bench.say("map.station_text", s.heading_error_deg, s.heading_error_upper95_deg, s.disturbance_ut);
    };
    const briefly = (x, y, r) => {
      const lines = [];
      if (r.station) lines.push(`${r.station.name}: ${measured(r.station)}`);
      if (r.heading_error_deg != null) {
        lines.push(r.heading_error_deg > 179.9 ? bench.say("map.any") : bench.say("map.short", r.heading_error_deg, r.heading_error_upper95_deg, r.disturbance_ut));
      }
      if (r.ground !== "k" || !lines.length) lines.push(ground(r));
      return `${bench.say("map.place_text", Math.round(x), Math.round(y))} · ${lines.join(" · ")}`;
    };

    const tip = $("m-tip");
    const cross = $("m-cross");
    const read = (x, y, aloud) => {
      const r = at(x, y);
      Object.assign(key, { x, y, set: true });
      cross.hidden = false;
      cross.removeAttribute("hidden");
      cross.setAttribute("transform", `translate(${across + y * scale} ${down - x * scale})`);
      $("m-place").textContent = bench.say("map.place_text", Math.round(x), Math.round(y));
      $("m-deg").textContent = error(r);
      $("m-ut").textContent = field(r);
      $("m-ground").textContent = ground(r);
      $("m-st-name").textContent = bench.say("map.station", r.station ? r.station.name : "–");
      $("m-st").textContent = measured(r.station);
      const text = briefly(x, y, r);
      tip.textContent = text;
      tip.hidden = false;
      const box = chart.getBoundingClientRect();
      const px = (across + y * scale) / w * box.width, py = (down - x * scale) / h * box.height;
      const room = tip.getBoundingClientRect();
      const left = px + 16 + room.width > box.width ? px - 16 - room.width : px + 16;
      tip.style.transform = `translate(${Math.max(0, Math.min(left, box.width - room.width))}px, ${Math.max(0, Math.min(py + 14, box.height - room.height))}px)`;
      if (!aloud) return;
      clearTimeout(read.timer);
      read.timer = setTimeout(() => { if ($("m-live")) $("m-live").textContent = text; }, 350);
    };
    const place = (e) => {
      const box = chart.getBoundingClientRect();
      return [(down - (e.clientY - box.top) / box.height * h) / scale, ((e.clientX - box.left) / box.width * w - across) / scale];
    };
    const fields = () => { $("m-x").value = Math.round(key.x); $("m-y").value = Math.round(key.y); };
    const hide = () => { tip.hidden = true; };

    chart.addEventListener("pointermove", (e) => { if (e.pointerType === "mouse") read(...place(e)); });
    chart.addEventListener("pointerdown", (e) => { read(...place(e)); fields(); });
    chart.addEventListener("pointerleave", (e) => { if (e.pointerType === "mouse") hide(); });
    chart.addEventListener("blur", hide);
    chart.addEventListener("focus", () => { if (chart.matches(":focus-visible")) read(key.x, key.y, true); });
    chart.addEventListener("keydown", (e) => {
      const far = e.shiftKey ? 50 : 10;
      const step = { ArrowUp: [far, 0], ArrowDown: [-far, 0], ArrowLeft: [0, -far], ArrowRight: [0, far] }[e.key];
      if (e.key === "Escape") { hide(); return; }
      if (!step) return;
      e.preventDefault();
      e.stopPropagation();
      read(key.x + step[0], key.y + step[1], true);
      fields();
    });
    $("m-form").addEventListener("submit", (e) => {
      e.preventDefault();
      const [x, y] = ["m-x", "m-y"].map(bench.number);
      for (const [id, n] of [["m-x", x], ["m-y", y]]) $(id).toggleAttribute("aria-invalid", !Number.isFinite(n));
      if (Number.isFinite(x) && Number.isFinite(y)) read(x, y, true);
    });
    if (key.set) { read(key.x, key.y); fields(); hide(); }
  },
});
bench.mapAt = {};
