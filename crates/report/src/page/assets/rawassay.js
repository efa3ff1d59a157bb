// The only script of these pages: filter, order and list of the overview; overlays of a frame's page. It asks for nothing
// from anywhere, and what is chosen stands in the address, so that it can be kept as a bookmark.
"use strict";

(() => {
  const byId = (id) => document.getElementById(id);
  const asked = () => new URLSearchParams(location.hash.slice(1));

  /** Puts the choice into the address without a new entry in the history for every key that is pressed. */
  const remember = (params) => {
    const text = params.toString();
    history.replaceState(null, "", text ? `#${text}` : location.pathname + location.search);
  };

  document.documentElement.classList.add("scripted");
  const form = byId("ask");
  if (form) overview(form);
  const overlays = document.querySelector(".overlays");
  if (overlays) frame(overlays);

  function frame(group) {
    const buttons = [...group.querySelectorAll("button[data-layer]")];
    // What the page shows at first, as long as the address asks for nothing.
    const first = buttons.filter((b) => b.getAttribute("aria-pressed") === "true").map((b) => b.dataset.layer);
    const show = () => {
      const chosen = asked().get("show");
      const on = new Set(chosen === null ? first : chosen.split(" ").filter(Boolean));
      for (const button of buttons) {
        const layer = button.dataset.layer;
        button.setAttribute("aria-pressed", String(on.has(layer)));
        const parts = layer === "crops" ? document.querySelectorAll(".layer-crops") : [byId(`layer-${layer}`)];
        for (const part of parts) if (part) part.classList.toggle("on", on.has(layer));
      }
    };
    for (const button of buttons) {
      button.addEventListener("click", () => {
        const on = new Set(buttons.filter((b) => b.getAttribute("aria-pressed") === "true").map((b) => b.dataset.layer));
        if (!on.delete(button.dataset.layer)) on.add(button.dataset.layer);
        const params = asked();
        params.set("show", [...on].join(" "));
        remember(params);
        show();
      });
    }
    addEventListener("hashchange", show);
    show();
  }

  function overview(form) {
    const body = byId("ledger").tBodies[0];
    const sortSelect = byId("ask-sort");
    const measures = [...sortSelect.options].filter((o) => o.dataset.unit !== undefined);
    const fields = [...form.elements].filter((e) => e.name);
    const rank = { prints: 0, borderline: 1, fails: 2, unmeasured: 3 };
    const number = (text) => (text === "" ? null : Number(text));
    const measureIndex = (word) => measures.findIndex((o) => o.value === word);
    const [isoAt, timeAt] = [measureIndex("iso"), measureIndex("shutter")];

    const rows = [...body.rows].map((row, n) => ({
      row,
      n,
      outcome: row.dataset.o,
      findings: row.dataset.f.split(" "),
      path: row.dataset.p,
      name: row.dataset.p.split(/[/\\]/).pop() || row.dataset.p,
      lower: row.dataset.p.toLowerCase(),
      camera: row.dataset.c || "",
      lens: row.dataset.l || "",
      values: row.dataset.v.split(",").map(number),
      box: row.querySelector("input"),
      cell: row.cells[row.cells.length - 1],
    }));
    // Rows are laid out as grids; they stay rows of a table for those who have them read out.
    byId("ledger").setAttribute("role", "table");
    for (const part of byId("ledger").querySelectorAll("thead, tbody")) part.setAttribute("role", "rowgroup");
    for (const row of byId("ledger").rows) {
      row.setAttribute("role", "row");
      for (const cell of row.cells) cell.setAttribute("role", cell.tagName === "TD" ? "cell" : row.parentElement === body ? "rowheader" : "columnheader");
    }
    // A mark of this very set of frames: ticks kept in an address are taken up only by the same set.
    let mark = 7;
    for (const r of rows) for (let i = 0; i < r.path.length; i++) mark = (mark * 31 + r.path.charCodeAt(i)) >>> 0;
    const names = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
    const picked = new Set();
    let shown = rows;

    const packTicks = () => {
      if (!picked.size) return null;
      const bytes = new Uint8Array(Math.ceil(rows.length / 8));
      for (const r of picked) bytes[r.n >> 3] |= 1 << (r.n & 7);
      const text = btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
      return `${mark.toString(36)}.${text}`;
    };
    const unpackTicks = (text) => {
      picked.clear();
      const [of, bits] = (text || "").split(".");
      if (!bits || of !== mark.toString(36)) return;
      let raw = "";
      try {
        raw = atob(bits.replaceAll("-", "+").replaceAll("_", "/"));
      } catch {
        return;
      }
      for (const r of rows) if ((raw.charCodeAt(r.n >> 3) >> (r.n & 7)) & 1) picked.add(r);
    };

    /** Shows what the address says. */
    const apply = () => {
      const params = asked();
      for (const field of fields) {
        field.value = params.get(field.name) || "";
        // A choice that this shoot does not offer is no choice.
        if (field.value !== (params.get(field.name) || "")) field.value = "";
        field.classList.toggle("set", field.value !== "");
      }
      unpackTicks(params.get("ticked"));
      const ask = Object.fromEntries(fields.map((f) => [f.name, f.value]));
      const part = ask.name.toLowerCase();
      const within = (value, from, to) =>
        (from === "" && to === "") || (value !== null && (from === "" || value >= Number(from)) && (to === "" || value <= Number(to)));
      shown = rows.filter(
        (r) =>
          (!ask.outcome || r.outcome === ask.outcome) &&
          (!ask.finding || r.findings.includes(ask.finding)) &&
          (!ask.camera || r.camera === ask.camera) &&
          (!ask.lens || r.lens === ask.lens) &&
          within(r.values[isoAt], ask["iso-from"], ask["iso-to"]) &&
          within(r.values[timeAt], ask["shutter-from"], ask["shutter-to"]) &&
          (!part || r.lower.includes(part)),
      );
      const at = measureIndex(ask.sort);
      const sign = ask.turn === "falling" ? -1 : 1;
      const inOrder = [...rows].sort((a, b) => {
        if (ask.sort === "name") return sign * names.compare(a.name, b.name) || a.n - b.n;
        if (ask.sort === "outcome") return sign * (rank[a.outcome] - rank[b.outcome]) || a.n - b.n;
        if (at < 0) return sign * (a.n - b.n);
        const [x, y] = [a.values[at], b.values[at]];
        // Unknown stands last in both directions.
        if (x === null || y === null) return (x === null) - (y === null) || a.n - b.n;
        return sign * (x - y) || a.n - b.n;
      });
      const visible = new Set(shown);
      if (inOrder.some((r, i) => body.rows[i] !== r.row)) body.append(...inOrder.map((r) => r.row));
      const unit = at < 0 ? "" : measures[at].dataset.unit;
      for (const r of rows) {
        r.row.hidden = !visible.has(r);
        const value = at < 0 ? null : r.values[at];
        const text = at < 0 ? "" : value === null ? "unknown" : `${Number(value.toPrecision(4))}${unit && unit !== ":1" ? " " : ""}${unit}`;
        if (r.cell.textContent !== text) r.cell.textContent = text;
        const isPicked = picked.has(r);
        if (r.box.checked !== isPicked) r.box.checked = isPicked;
        r.row.classList.toggle("picked", isPicked);
      }
      byId("value-head").textContent = at < 0 ? "" : measures[at].textContent;
      for (const head of byId("ledger").tHead.rows[0].cells) {
        const button = head.querySelector("button");
        if (!button) continue;
        if (button.dataset.sort === ask.sort) head.setAttribute("aria-sort", sign < 0 ? "descending" : "ascending");
        else head.removeAttribute("aria-sort");
      }
      byId("shown").textContent =
        shown.length === rows.length ? `All ${rows.length} frames are shown.` : `${shown.length} of ${rows.length} frames are shown.`;
      byId("nothing").hidden = shown.length > 0 || rows.length === 0;
      list();
    };

    const listed = () => {
      const order = [...body.rows];
      const source = picked.size ? [...picked] : shown;
      const place = new Map(order.map((row, i) => [row, i]));
      return [...source].sort((a, b) => place.get(a.row) - place.get(b.row)).map((r) => r.path);
    };
    const list = () => {
      const files = listed();
      byId("list-text").value = files.join("\n");
      byId("list-what").textContent = picked.size
        ? `${files.length} ticked ${files.length === 1 ? "frame is" : "frames are"} on the list.`
        : `No frame is ticked: the list holds the ${files.length} ${files.length === 1 ? "frame" : "frames"} shown. Tick frames to choose.`;
    };

    /** Writes the form and the ticks into the address and shows it. */
    const change = () => {
      const params = new URLSearchParams();
      for (const field of fields) if (field.value) params.set(field.name, field.value);
      const ticks = packTicks();
      if (ticks) params.set("ticked", ticks);
      remember(params);
      apply();
    };

    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("input", change);
    form.addEventListener("reset", (event) => {
      event.preventDefault();
      for (const field of fields) field.value = "";
      change();
    });
    byId("ledger").tHead.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-sort]");
      if (!button) return;
      const turn = byId("ask-turn");
      // A first press puts the large prints first and names from A; a second turns the order round.
      if (sortSelect.value === button.dataset.sort) turn.value = turn.value ? "" : "falling";
      else turn.value = button.dataset.sort === "print" ? "falling" : "";
      sortSelect.value = button.dataset.sort;
      change();
    });
    body.addEventListener("change", (event) => {
      const r = rows.find((other) => other.box === event.target);
      if (!r) return;
      if (r.box.checked) picked.add(r);
      else picked.delete(r);
      change();
    });
    byId("pick-shown").addEventListener("click", () => {
      for (const r of shown) picked.add(r);
      change();
    });
    byId("pick-none").addEventListener("click", () => {
      picked.clear();
      change();
    });
    const say = (text) => {
      byId("list-said").textContent = text;
    };
    byId("list-copy").addEventListener("click", async () => {
      const area = byId("list-text");
      try {
        await navigator.clipboard.writeText(area.value);
        say("Copied.");
      } catch {
        area.focus();
        area.select();
        say(document.execCommand("copy") ? "Copied." : "Selected: copy it with your keyboard.");
      }
    });
    byId("list-save").addEventListener("click", () => {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([listed().join("\n"), "\n"], { type: "text/plain" }));
      link.download = "rawassay-list.txt";
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
      say("Saved as rawassay-list.txt.");
    });
    addEventListener("hashchange", apply);
    apply();
    document.documentElement.dataset.ready = "yes";
  }
})();
