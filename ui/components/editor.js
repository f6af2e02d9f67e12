// The photograph with its edge as points to drag, and a brush; hands back an outline correction.

const SVG = "http://www.w3.org/2000/svg";
const BRUSHES = [10, 20, 40, 80];

function element(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.appendChild(made);
  return made;
}

function startOf(data) {
  const kept = data.correction || {};
  return {
    edges: data.edges.map((edge) => ({
      side: edge.side,
      points: edge.points.map((point) => [...point]),
      moved: edge.points.map(() => false),
    })),
    strokes: (kept.strokes || []).map((stroke) => ({ ...stroke, points: stroke.points.map((p) => [...p]) })),
  };
}

// Each run of moved points becomes one drawn edge, from the unmoved neighbour below to the one above.
export function drawnEdges(edges) {
  const drawn = [];
  for (const edge of edges) {
    let first = null;
    for (let i = 0; i <= edge.points.length; i += 1) {
      const moved = i < edge.points.length && edge.moved[i];
      if (moved && first === null) first = i;
      if (!moved && first !== null) {
        const part = edge.points.slice(Math.max(0, first - 1), Math.min(edge.points.length, i + 1));
        if (part.length > 1) drawn.push({ side: edge.side, points: part });
        first = null;
      }
    }
  }
  return drawn;
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".editor");
  const mark = data.photo_sha256 + JSON.stringify(data.correction);
  if (root.dataset.mark === mark) return;
  root.dataset.mark = mark;
  root.replaceChildren();
  const words = data.words;
  let now = startOf(data);
  let tool = "points";
  let brush = 20;
  const past = [];
  const [width, height] = data.size;
  let view = [0, 0, width, height];

  const toScreen = ([x, y]) => [(x - data.corner[0]) / data.scale, (y - data.corner[1]) / data.scale];
  const toPhoto = ([x, y]) => [x * data.scale + data.corner[0], y * data.scale + data.corner[1]];
  const round = (value) => Math.round(value * 100) / 100;

  const bar = document.createElement("div");
  bar.className = "bar";
  bar.setAttribute("role", "toolbar");
  bar.setAttribute("aria-label", words.tools);
  root.appendChild(bar);
  const button = (label, act, className = "") => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = label;
    made.className = className;
    made.addEventListener("click", act);
    bar.appendChild(made);
    return made;
  };
  const tools = {};
  for (const name of ["points", "limb", "background"]) {
    tools[name] = button(words[name], () => { tool = name; showTool(); });
  }
  const widths = document.createElement("select");
  widths.setAttribute("aria-label", words.brush);
  for (const size of BRUSHES) {
    const option = document.createElement("option");
    option.value = String(size);
    option.textContent = `${words.brush} ${size}`;
    option.selected = size === brush;
    widths.appendChild(option);
  }
  widths.addEventListener("change", () => { brush = Number(widths.value); });
  bar.appendChild(widths);
  const undo = button(words.undo, () => { if (past.length) { now = past.pop(); draw(); } });
  button(words.zoomIn, () => zoom(0.67, [view[0] + view[2] / 2, view[1] + view[3] / 2]));
  button(words.zoomOut, () => zoom(1.5, [view[0] + view[2] / 2, view[1] + view[3] / 2]));
  button(words.use, use, "use");

  const svg = element("svg", { class: "view", role: "group", "aria-label": words.picture }, root);
  element("image", { href: data.picture, width, height }, svg);
  const paint = element("g", {}, svg);
  const lines = element("g", {}, svg);
  const handles = element("g", {}, svg);

  function showTool() {
    for (const [name, made] of Object.entries(tools)) made.setAttribute("aria-pressed", String(name === tool));
    widths.hidden = tool === "points";
    handles.style.display = tool === "points" ? "" : "none";
    svg.style.cursor = tool === "points" ? "move" : "crosshair";
  }

  function remember() {
    past.push(JSON.parse(JSON.stringify(now)));
    if (past.length > 200) past.shift();
  }

  function zoom(factor, [x, y]) {
    const scale = Math.min(1, Math.max(0.05, (view[2] * factor) / width)) * width / view[2];
    view = [x - (x - view[0]) * scale, y - (y - view[1]) * scale, view[2] * scale, view[3] * scale];
    clamp();
    draw();
  }

  function clamp() {
    view[0] = Math.min(Math.max(view[0], 0), width - view[2]);
    view[1] = Math.min(Math.max(view[1], 0), height - view[3]);
  }

  function path(points) {
    return "M" + points.map((point) => toScreen(point).map(round).join(" ")).join("L");
  }

  function draw() {
    svg.setAttribute("viewBox", view.map(round).join(" "));
    for (const group of [paint, lines, handles]) group.replaceChildren();
    for (const stroke of now.strokes) {
      const points = stroke.points.length > 1 ? stroke.points : [stroke.points[0], stroke.points[0]];
      element("path", {
        class: `stroke ${stroke.kind}`, d: path(points), "stroke-width": stroke.width_px / data.scale,
      }, paint);
    }
    const radius = Math.max(2.5, 6 * (view[3] / Math.max(svg.clientHeight, 300)));
    now.edges.forEach((edge, e) => {
      const d = path(edge.points);
      element("path", { class: "halo", d }, lines);
      element("path", { class: "edge", d }, lines);
      edge.points.forEach((point, i) => {
        const [cx, cy] = toScreen(point).map(round);
        const handle = element("circle", {
          class: edge.moved[i] ? "handle moved" : "handle", cx, cy, r: radius, tabindex: i ? -1 : 0,
          role: "button", "data-edge": e, "data-point": i,
          "aria-label": `${words[edge.side]}, ${words.point} ${i + 1} ${words.of} ${edge.points.length}`,
        }, handles);
        handle.addEventListener("keydown", (event) => key(event, e, i));
        handle.addEventListener("pointerdown", (event) => grab(event, e, i));
      });
    });
    undo.disabled = past.length === 0;
    showTool();
  }

  function focus(e, i) {
    const there = handles.querySelector(`[data-edge="${e}"][data-point="${i}"]`);
    if (there) there.focus();
  }

  // along the edge's normal, so that it also serves a limb that lies
  function nudge(e, i, steps) {
    const points = now.edges[e].points;
    const below = points[Math.max(0, i - 1)];
    const above = points[Math.min(points.length - 1, i + 1)];
    let [x, y] = [above[1] - below[1], below[0] - above[0]];
    const length = Math.hypot(x, y) || 1;
    if (Math.abs(x) >= Math.abs(y) ? x < 0 : y < 0) { x = -x; y = -y; }
    remember();
    points[i] = [points[i][0] + (x / length) * steps, points[i][1] + (y / length) * steps];
    now.edges[e].moved[i] = true;
  }

  function key(event, e, i) {
    const fast = event.shiftKey ? 10 : 2;
    const last = now.edges[e].points.length - 1;
    const up = now.edges[e].points[0][1] > now.edges[e].points[last][1] ? 1 : -1;
    let next = i;
    if (event.key === "ArrowLeft") nudge(e, i, -fast);
    else if (event.key === "ArrowRight") nudge(e, i, fast);
    else if (event.key === "ArrowUp") next = Math.min(last, Math.max(0, i + up));
    else if (event.key === "ArrowDown") next = Math.min(last, Math.max(0, i - up));
    else if (event.key === "z" && (event.ctrlKey || event.metaKey)) undo.click();
    else return;
    event.preventDefault();
    event.stopPropagation();
    draw();
    focus(e, next);
  }

  function at(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  }

  function follow(event, move, end = () => {}) {
    event.preventDefault();
    const pointer = event.pointerId;
    svg.setPointerCapture(pointer);
    const onMove = (moved) => { if (moved.pointerId === pointer) move(moved); };
    const onEnd = (ended) => {
      if (ended.pointerId !== pointer) return;
      svg.removeEventListener("pointermove", onMove);
      svg.removeEventListener("pointerup", onEnd);
      svg.removeEventListener("pointercancel", onEnd);
      end();
    };
    svg.addEventListener("pointermove", onMove);
    svg.addEventListener("pointerup", onEnd);
    svg.addEventListener("pointercancel", onEnd);
  }

  function grab(event, e, i) {
    event.stopPropagation();
    remember();
    follow(event, (moved) => {
      now.edges[e].points[i] = toPhoto(at(moved));
      now.edges[e].moved[i] = true;
      draw();
    }, () => focus(e, i));
  }

  svg.addEventListener("pointerdown", (event) => {
    if (tool === "points") {
      let [x, y] = at(event);
      follow(event, (moved) => {
        const [u, v] = at(moved);
        view[0] += x - u;
        view[1] += y - v;
        clamp();
        draw();
        [x, y] = at(moved);
      });
      return;
    }
    remember();
    const stroke = { kind: tool, width_px: brush * data.scale, points: [toPhoto(at(event)).map(round)] };
    now.strokes.push(stroke);
    draw();
    follow(event, (moved) => { stroke.points.push(toPhoto(at(moved)).map(round)); draw(); });
  });
  svg.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoom(event.deltaY < 0 ? 0.8 : 1.25, at(event));
  }, { passive: false });

  function use() {
    const kept = data.correction || {};
    const edges = [...(kept.edges || []), ...drawnEdges(now.edges)]
      .map((edge) => ({ side: edge.side, points: edge.points.map((point) => point.map(round)) }));
    const correction = {
      format: "outline-correction/1", photo_sha256: data.photo_sha256, edges, strokes: now.strokes,
    };
    if (kept.polygon) correction.polygon = kept.polygon;
    setTriggerValue("correction", JSON.stringify(correction));
  }

  draw();
}
