// Dragging fills the form, which is all that is ever sent; the arrow keys do the
// same, and so does typing.
(() => {
  let draft = null; // what stands in the form, kept while the panel is fetched anew
  const $ = bench.$;

  bench.panel("whatif", {
    shown(el) {
      const form = el.querySelector("#q-form"), plan = el.querySelector("#q-plan");
      if (!form || !plan) return;
      const size = Number(plan.dataset.size);
      const changes = [...form.querySelectorAll('[name="change"]')].map((i) => i.value);
      const ask = (list) => bench.load("whatif", new URLSearchParams(list.map((c) => ["change", c])).toString());
      const put = (grip, x, y) => {
        grip.dataset.x = x;
        grip.dataset.y = y;
        grip.setAttribute("transform", `translate(${x} ${y}) scale(${size})`);
      };
      const number = (id) => bench.number(id) || 0;
      const keep = () => { draft = Object.fromEntries([...form.elements].filter((e) => e.name && e.name !== "change").map((e) => [e.name, e.value])); };

      // follow shows the fields of the kind of change, and its grips where they say.
      const follow = () => {
        const kind = $("q-kind").value;
        for (const label of form.querySelectorAll("[data-kinds]")) {
          const on = label.dataset.kinds.split(" ").includes(kind);
          label.hidden = !on;
          label.querySelector("input, select").disabled = !on;
        }
        const lead = kind === "lead";
        $("q-new").toggleAttribute("hidden", !lead && kind !== "magnet");
        $("q-end").toggleAttribute("hidden", !lead);
        $("q-new").setAttribute("aria-label", bench.say(lead ? "whatif.from" : "whatif.new"));
        put($("q-new"), number("q-y"), -number("q-x"));
        put($("q-end"), number("q-to-y"), -number("q-to-x"));
        for (const p of plan.querySelectorAll(".q-part")) p.classList.toggle("held", !$("q-which").disabled && p.dataset.part === $("q-which").value);
      };
      // place is the grip's on the craft: of a lead that of its first point.
      const place = (grip) => [
        Math.round(-(Number(grip.dataset.y) + Number(grip.dataset.fy || 0))) + 0, Math.round(Number(grip.dataset.x) + Number(grip.dataset.fx || 0)) + 0,
      ];
      // write takes a grip's place into the form.
      const write = (grip) => {
        const [x, y] = place(grip);
        if (grip.id === "q-end") {
          $("q-to-x").value = x;
          $("q-to-y").value = y;
        } else if (!grip.dataset.magnet) {
          if (grip.dataset.part) {
            if ($("q-kind").value !== "move" || $("q-which").value !== grip.dataset.part) $("q-z").value = grip.dataset.z;
            $("q-kind").value = "move";
            $("q-which").value = grip.dataset.part;
          }
          $("q-x").value = x;
          $("q-y").value = y;
        }
        keep();
        follow();
        return bench.say("whatif.now_at", x, y);
      };
      // settle tries what was moved; a new magnet waits for the button.
      const settle = (grip) => {
        if (grip.dataset.part) form.requestSubmit();
        if (!grip.dataset.magnet) return;
        let n = -1;
        ask(changes.map((c) => {
          const p = new URLSearchParams(c);
          if (p.get("kind") === "magnet" && ++n === Number(grip.dataset.magnet)) {
            const [x, y] = place(grip);
            p.set("x_mm", x);
            p.set("y_mm", y);
          }
          return p.toString();
        }));
      };

      for (const grip of plan.querySelectorAll(".q-grip")) {
        if (grip.dataset.part) grip.setAttribute("aria-label", bench.say("whatif.part_at", grip.dataset.part, ...place(grip)));
        if (grip.dataset.magnet) grip.setAttribute("aria-label", bench.say("whatif.tried_at", ...place(grip)));
        let from = null;
        grip.addEventListener("pointerdown", (e) => {
          e.preventDefault();
          grip.focus({ preventScroll: true });
          grip.setPointerCapture(e.pointerId);
          const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(plan.getScreenCTM().inverse());
          from = { dx: Number(grip.dataset.x) - p.x, dy: Number(grip.dataset.y) - p.y, moved: false };
        });
        grip.addEventListener("pointermove", (e) => {
          if (!from) return;
          const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(plan.getScreenCTM().inverse());
          from.moved = true;
          put(grip, p.x + from.dx, p.y + from.dy);
          write(grip);
        });
        grip.addEventListener("pointerup", () => {
          const moved = from?.moved;
          from = null;
          if (moved) settle(grip);
          else if (grip.dataset.part) write(grip);
        });
        grip.addEventListener("pointercancel", () => { from = null; });
        grip.addEventListener("keydown", (e) => {
          if (e.key === "Enter") {
            e.preventDefault();
            e.stopPropagation();
            if (grip.dataset.part) write(grip);
            grip.dataset.part || grip.dataset.magnet ? settle(grip) : form.requestSubmit();
            return;
          }
          const far = e.shiftKey ? 1 : 10;
          const step = { ArrowUp: [0, -far], ArrowDown: [0, far], ArrowLeft: [-far, 0], ArrowRight: [far, 0] }[e.key];
          if (!step) return;
          e.preventDefault();
          e.stopPropagation();
          put(grip, Number(grip.dataset.x) + step[0], Number(grip.dataset.y) + step[1]);
          const text = write(grip);
          clearTimeout(settle.timer);
          settle.timer = setTimeout(() => { if ($("q-live")) $("q-live").textContent = text; }, 350);
        });
      }
      form.addEventListener("input", () => { keep(); follow(); });
      form.addEventListener("change", () => { keep(); follow(); });
      for (const b of el.querySelectorAll("[data-back]")) b.addEventListener("click", () => ask(changes.filter((c, i) => i !== Number(b.dataset.back))));
      el.querySelector("#q-clear")?.addEventListener("click", () => ask([]));
      for (const [name, value] of Object.entries(draft || {})) if (form.elements[name] && form.elements[name].value !== undefined) form.elements[name].value = value;
      follow();
    },
    did(action, answer) { bench.load("whatif", answer.query); },
  });
})();
