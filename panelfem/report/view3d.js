"use strict";
/* The turning view: unpacks the fields, fills the choices, draws one mesh and redraws it when a choice changes. */
(function () {
  const source = document.getElementById("v-data");
  if (!source) return;
  const data = JSON.parse(source.textContent);
  const at = (name) => document.getElementById("v-" + name);

  function unpack(packed) {
    const text = atob(packed.data);
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    const view = new DataView(bytes.buffer);
    const out = new Float64Array(bytes.length / 2);
    for (let i = 0; i < out.length; i++) {
      const whole = view.getInt16(2 * i, true);
      out[i] = whole === -32768 ? NaN : whole * packed.scale;
    }
    return out;
  }

  const rest = unpack(data.vertices);
  const count = rest.length / 3;
  const column = (flat, c) => Float64Array.from({ length: count }, (_, i) => flat[3 * i + c]);
  let low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < rest.length; i++) {
    low[i % 3] = Math.min(low[i % 3], rest[i]);
    high[i % 3] = Math.max(high[i % 3], rest[i]);
  }
  const reach = Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]);

  function fill(select, entries, wanted) {
    const before = wanted !== undefined ? wanted : select.value;
    select.replaceChildren(...entries.map(([value, label]) => {
      const option = document.createElement("option");
      option.value = value;
      option.textContent = label;
      return option;
    }));
    if (entries.some(([value]) => value === before)) select.value = before;
  }

  const unique = (list) => [...new Set(list)];
  const state = () => data.states.find(
    (s) => s.configuration === at("configuration").value && s.variant === at("variant").value);
  const load = () => { const s = state(); return s && s.loads.find((l) => l.name === at("load").value); };

  function number(value) {
    if (!isFinite(value)) return "n/a";
    if (value === 0) return "0";
    const digits = Math.max(0, 2 - Math.floor(Math.log10(Math.abs(value))));
    return value.toFixed(Math.min(digits, 6));
  }

  /* slider 0 … 100 -> a factor: 0 draws the panel at rest, 50 the suggested factor, 100 three times that */
  let suggested = 1, exact = null;
  const factor = () => (exact !== null ? exact : suggested * Math.pow(Number(at("scale").value) / 50, Math.log2(3)));

  function configurationChanged(wantedVariant, wantedLoad) {
    const mine = data.states.filter((s) => s.configuration === at("configuration").value);
    fill(at("variant"), mine.map((s) => [s.variant, s.contingency ? s.variant + " (must survive)" : s.variant]), wantedVariant);
    variantChanged(wantedLoad);
  }

  function variantChanged(wantedLoad) {
    fill(at("load"), state().loads.map((l) => [l.name, l.governing ? l.name + " (this state governs)" : l.name]), wantedLoad);
    draw();
  }

  function fields(of) {
    if (!of.unpacked) of.unpacked = { displacement: unpack(of.displacement), reserve: unpack(of.reserve) };
    return of.unpacked;
  }

  /* one scale for a load over all configurations, so that pictures can be compared */
  const greatest = {};
  function greatestOf(name) {
    if (!(name in greatest)) {
      let most = 0;
      for (const s of data.states) for (const l of s.loads) if (l.name === name) {
        const u = fields(l).displacement;
        for (let i = 0; i < count; i++) most = Math.max(most, Math.hypot(u[3 * i], u[3 * i + 1], u[3 * i + 2]));
      }
      greatest[name] = most;
    }
    return greatest[name];
  }

  function segments(pairs, x, y, z) {
    const out = { x: [], y: [], z: [] };
    for (let i = 0; i < pairs.length; i += 2) {
      out.x.push(x[pairs[i]], x[pairs[i + 1]], null);
      out.y.push(y[pairs[i]], y[pairs[i + 1]], null);
      out.z.push(z[pairs[i]], z[pairs[i + 1]], null);
    }
    return out;
  }

  function draw() {
    const s = state(), l = load(), quantity = at("quantity").value;
    if (!s || !l) return;
    const { displacement: u, reserve } = fields(l);
    const most = greatestOf(l.name);
    suggested = most > 0 ? 0.08 * reach / most : 1;
    const times = factor();
    at("times").textContent = "×" + number(times);
    const moved = rest.map((v, i) => v + times * u[i]);
    const [x, y, z] = [0, 1, 2].map((c) => column(moved, c));
    const [x0, y0, z0] = [0, 1, 2].map((c) => column(rest, c));
    const gone = new Set(s.removed);
    const i = [], j = [], k = [], kept = [];
    for (let e = 0; e < data.triangles.length / 3; e++) {
      if (gone.has(e)) continue;
      i.push(data.triangles[3 * e]); j.push(data.triangles[3 * e + 1]); k.push(data.triangles[3 * e + 2]);
      kept.push(e);
    }
    const surface = {
      type: "mesh3d", x, y, z, i, j, k, flatshading: false, hoverinfo: "text",
      lighting: { ambient: 0.72, diffuse: 0.45, specular: 0.05, roughness: 0.9, fresnel: 0 },
      lightposition: { x: 2 * reach, y: -2 * reach, z: 4 * reach },
    };
    const bar = (title) => ({ title: { text: title, side: "right", font: { size: 12 } }, thickness: 12, len: 0.8, outlinewidth: 0.5 });
    let caption = s.configuration + ", " + s.variant + ", under " + l.name + ": ";
    if (quantity === "deflection") {
      const size = Array.from({ length: count }, (_, n) => Math.hypot(u[3 * n], u[3 * n + 1], u[3 * n + 2]));
      Object.assign(surface, { intensity: size, colorscale: "Cividis", cmin: 0, cmax: most || 1,
        colorbar: bar("deflection (mm)"), text: size.map((v) => "deflection " + number(v) + " mm") });
      caption += "greatest deflection " + l.greatest;
    } else if (quantity === "reserve") {
      const values = Array.from(reserve, (v) => (isFinite(v) ? v : null));
      const top = 2 * l.required;
      Object.assign(surface, { intensity: values.map((v) => (v === null ? top : Math.min(v, top))), colorscale: "Cividis",
        cmin: 0, cmax: top, colorbar: bar("ply reserve (factor), " + number(top) + " and more"),
        text: values.map((v) => (v === null ? "no reserve here" : "reserve ×" + number(v))) });
      caption += "least release-governing ply reserve at each place; ×" + number(l.required) + " is asked for";
    } else {
      const shade = new Array(data.triangles.length / 3).fill("rgb(214,217,219)");
      const tones = ["rgb(0,34,78)", "rgb(124,123,120)", "rgb(187,173,108)", "rgb(64,77,108)"];
      data.damage.forEach((d, n) => d.elements.forEach((e) => { shade[e] = tones[n % tones.length]; }));
      Object.assign(surface, { facecolor: kept.map((e) => shade[e]), hoverinfo: "skip" });
      caption += "damage: " + (data.damage.map((d) => d.name).join(", ") || "none");
    }
    if (l.note) caption += " – " + l.note.toUpperCase();
    if (l.mode) caption += ". Governs: " + l.mode;
    at("caption").textContent = caption + ".";

    const traces = [surface];
    const line = (pairs, X, Y, Z, colour, width) => traces.push(Object.assign(segments(pairs, X, Y, Z),
      { type: "scatter3d", mode: "lines", line: { color: colour, width }, hoverinfo: "skip" }));
    line(s.border, x0, y0, z0, "#9aa1a6", 2);
    line(s.border, x, y, z, "#1c2226", 4);
    /* marks move with the panel, a little above the face that is seen first */
    const lifted = (n) => [0, 1, 2].map((c) => moved[3 * n + c] + 0.004 * reach * data.towards[c]);
    const plainText = (t) => t.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
    const called = (n, label, bold) => {
      const [ax, ay, az] = lifted(n);
      return { x: ax, y: ay, z: az, text: bold ? "<b>" + plainText(label) + "</b>" : plainText(label), showarrow: true, arrowhead: 0,
        arrowwidth: 1, arrowcolor: "#1c2226", ax: bold ? 60 : 0, ay: bold ? -44 : -20, bgcolor: "rgba(255,255,255,0.85)", borderpad: 1,
        font: { size: 11, color: "#1c2226" } };
    };
    const annotations = data.places.filter((p) => !data.damage.some((d) => d.place === p.name)).map((p) => called(p.vertex, p.name, false));
    /* damage as it was found, and what the option of this state does */
    s.marks.map((n) => data.marks[n]).forEach((m) => {
      traces.push(Object.assign(segments(m.border, x, y, z), { type: "scatter3d", mode: "lines", hoverinfo: "skip",
        line: { color: "#1c2226", width: 5, dash: m.dash } }));
      if (m.vertex !== null) annotations.push(called(m.vertex, m.name, false));
    });
    const rings = data.places.map((p) => lifted(p.vertex));
    traces.push({ type: "scatter3d", mode: "markers", x: rings.map((p) => p[0]), y: rings.map((p) => p[1]), z: rings.map((p) => p[2]),
      hoverinfo: "skip", marker: { symbol: "circle", size: 5, color: "#ffffff", line: { width: 2, color: "#1c2226" } } });
    if (l.vertex !== null) {
      const g = lifted(l.vertex);
      annotations.push(called(l.vertex, "governs", true));
      traces.push({ type: "scatter3d", mode: "markers", x: [g[0]], y: [g[1]], z: [g[2]], text: ["governs: " + plainText(l.mode)],
        hoverinfo: "text", marker: { symbol: "cross", size: 6, color: "#ffffff", line: { width: 2, color: "#1c2226" } } });
    }
    const axis = { visible: false, showspikes: false };
    const plot = at("plot");
    Plotly.react(plot, traces, {
      margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, uirevision: "keep", paper_bgcolor: "rgba(0,0,0,0)",
      font: { family: "inherit", color: "#1c2226" },
      scene: { annotations, aspectmode: "data", xaxis: axis, yaxis: axis, zaxis: axis, camera: {
        eye: { x: data.eye[0], y: data.eye[1], z: data.eye[2] }, up: { x: data.up[0], y: data.up[1], z: data.up[2] },
        projection: { type: "orthographic" } } },
    }, { displaylogo: false, displayModeBar: false, responsive: true, scrollZoom: true });
  }

  fill(at("quantity"), [["deflection", "deflection"], ["reserve", "reserve"], ["damage", "damage"]]);
  const names = unique(data.states.map((s) => s.configuration));
  fill(at("configuration"), names.map((n) => [n, n]), data.first || names[0]);
  at("configuration").addEventListener("change", () => configurationChanged());
  at("variant").addEventListener("change", () => variantChanged());
  at("load").addEventListener("change", draw);
  at("quantity").addEventListener("change", draw);
  at("scale").addEventListener("input", () => { exact = null; draw(); });
  at("true").addEventListener("click", () => { exact = 1; draw(); });
  configurationChanged(undefined, data.load);
})();
