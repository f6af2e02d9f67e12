// The photograph with its edge to pull, a line to draw round the limb, and a brush.
// Each gesture hands back the whole outline correction at once; what was measured anew comes in as data.

const SVG = "http://www.w3.org/2000/svg";
const BRUSHES = [10, 20, 40, 80];
const REACHES = { near: 4, middle: 10, far: 24 }; // standard deviation of the pull, points of the edge
const EVERY = 5; // each so-manieth point of the edge has a handle
const GRAB_PX = 40; // on the screen, from the edge
const TAP_PX = 6;
const MOVED_PX = 2;
const LEAST_WEIGHT = 0.02;

function element(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.appendChild(made);
  return made;
}

const round = (value) => Math.round(value * 100) / 100;
const rounded = (points) => points.map((point) => point.map(round));
const copy = (value) => JSON.parse(JSON.stringify(value));
const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

function emptyCorrection(data) {
  return { format: "outline-correction/1", photo_sha256: data.photo_sha256, edges: [], strokes: [] };
}

// A pull moves a point and, ever less, its neighbours along the edge.
export function pulled(points, index, move, reach) {
  return points.map((point, i) => {
    const weight = Math.exp(-((i - index) ** 2) / (2 * reach ** 2));
    return weight < LEAST_WEIGHT ? [...point] : [point[0] + move[0] * weight, point[1] + move[1] * weight];
  });
}

// The part of an edge that a pull has moved, with the unmoved neighbour on either side.
export function movedPart(before, after) {
  const moved = after.map((point, i) => apart(point, before[i]) > 0.005);
  const first = moved.indexOf(true);
  if (first < 0) return [];
  return after.slice(Math.max(0, first - 1), moved.lastIndexOf(true) + 2);
}

class Editor {
  constructor(root, data, send) {
    this.root = root;
    this.photo = data.photo_sha256;
    this.tool = data.edges.length ? "pull" : "round";
    this.brush = 20;
    this.reach = "middle";
    this.past = [];
    this.pointers = new Map();
    this.gesture = null;
    this.place = -1;
    this.take(data, send);
    this.build();
    this.fit();
    new ResizeObserver(() => { this.reshape(); this.draw(); }).observe(this.svg);
  }

  take(data, send) {
    this.data = data;
    this.send = send;
    const given = data.correction ? copy(data.correction) : emptyCorrection(data);
    const mine = this.correction && JSON.stringify(this.correction);
    // what comes in belongs to an earlier gesture while a later one is on its way
    if (mine && this.waits && mine !== JSON.stringify(given)) return;
    this.waits = false;
    this.correction = given;
    this.edges = data.edges.map((edge) => ({ ...edge, points: edge.points.map((point) => [...point]) }));
  }

  update(data, send) {
    this.take(data, send);
    if (!this.gesture) this.draw();
  }

  build() {
    const { words } = this.data;
    this.root.replaceChildren();
    const bar = document.createElement("div");
    bar.className = "bar";
    bar.setAttribute("role", "toolbar");
    bar.setAttribute("aria-label", words.tools);
    this.root.appendChild(bar);
    const button = (label, act, className = "") => {
      const made = document.createElement("button");
      made.type = "button";
      made.textContent = label;
      made.className = className;
      made.addEventListener("click", act);
      bar.appendChild(made);
      return made;
    };
    const choice = (label, options, chosen, act) => {
      const made = document.createElement("select");
      made.setAttribute("aria-label", label);
      for (const [value, shown] of options) {
        const option = document.createElement("option");
        option.value = value;
        option.textContent = shown;
        option.selected = value === chosen;
        made.appendChild(option);
      }
      made.addEventListener("change", () => act(made.value));
      bar.appendChild(made);
      return made;
    };
    this.tools = {};
    for (const name of ["pull", "round", "limb", "background"]) {
      this.tools[name] = button(words[name], () => { this.tool = name; this.draw(); });
    }
    // one place for both: nothing above the picture may change its height, for the picture would move away
    // under the hand that draws
    this.reaches = choice(words.reach, Object.keys(REACHES).map((name) => [name, words[name]]), this.reach,
      (value) => { this.reach = value; });
    this.brushes = choice(words.brush, BRUSHES.map((size) => [String(size), `${words.brush} ${size}`]),
      String(this.brush), (value) => { this.brush = Number(value); });
    this.undo = button(words.undo, () => this.back());
    button("+", () => this.zoom(0.67)).setAttribute("aria-label", words.zoomIn);
    button("−", () => this.zoom(1.5)).setAttribute("aria-label", words.zoomOut);
    button(words.fit, () => { this.fit(); this.draw(); });
    this.next = button(words.doubtful, () => this.toDoubtful());
    this.close = button(words.close, () => this.closeLine(), "use");
    button(words.done, () => { this.closeLine(); this.send("done", String(Date.now())); }, "use");
    this.hint = document.createElement("p");
    this.hint.className = "hint";
    this.hint.setAttribute("role", "status");
    this.root.appendChild(this.hint);
    this.svg = element("svg", { class: "view", role: "group", "aria-label": words.picture }, this.root);
    this.image = element("image", {}, this.svg);
    this.paint = element("g", {}, this.svg);
    this.lines = element("g", {}, this.svg);
    this.handles = element("g", {}, this.svg);
    this.svg.addEventListener("pointerdown", (event) => this.down(event));
    this.svg.addEventListener("pointermove", (event) => this.move(event));
    for (const name of ["pointerup", "pointercancel"]) this.svg.addEventListener(name, (e) => this.up(e));
    this.svg.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoom(event.deltaY < 0 ? 0.8 : 1.25, this.at(event));
    }, { passive: false });
  }

  // ---- where things are: all in pixels of the photograph

  at(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [point.x, point.y];
  }

  perPixel() { return this.view[2] / Math.max(this.svg.clientWidth, 1); }

  bounds() {
    const polygon = this.correction.polygon || [];
    const points = [...this.edges.flatMap((edge) => edge.points), ...polygon];
    const { corner, size, scale } = this.data;
    if (points.length < 2) return [...corner, size[0] * scale, size[1] * scale];
    const low = [0, 1].map((k) => Math.min(...points.map((point) => point[k])));
    const high = [0, 1].map((k) => Math.max(...points.map((point) => point[k])));
    return [...low, high[0] - low[0], high[1] - low[1]];
  }

  show(box, room) {
    const margin = room * Math.max(box[2], box[3]);
    const centre = [box[0] + box[2] / 2, box[1] + box[3] / 2];
    const aspect = this.aspect();
    const width = Math.max(box[2] + margin, (box[3] + margin) * aspect, 40);
    this.view = [centre[0] - width / 2, centre[1] - width / aspect / 2, width, width / aspect];
  }

  aspect() { return Math.max(this.svg.clientWidth, 100) / Math.max(this.svg.clientHeight, 100); }

  reshape() {
    const centre = [this.view[0] + this.view[2] / 2, this.view[1] + this.view[3] / 2];
    const width = Math.max(this.view[2], this.view[3] * this.aspect());
    const height = width / this.aspect();
    this.view = [centre[0] - width / 2, centre[1] - height / 2, width, height];
  }

  fit() { this.show(this.bounds(), 0.04); }

  zoom(factor, about) {
    const [x, y] = about || [this.view[0] + this.view[2] / 2, this.view[1] + this.view[3] / 2];
    const { size, scale } = this.data;
    const widest = 1.5 * Math.max(size[0], size[1] * this.aspect()) * scale;
    const width = Math.min(widest, Math.max(40, this.view[2] * factor));
    const by = width / this.view[2];
    this.view = [x - (x - this.view[0]) * by, y - (y - this.view[1]) * by, width, this.view[3] * by];
    this.draw();
  }

  doubtfulRuns() {
    return this.edges.flatMap((edge) => {
      const runs = [];
      edge.sure.forEach((sure, i) => {
        if (sure) return;
        if (i && !edge.sure[i - 1]) runs[runs.length - 1].push(edge.points[i]);
        else runs.push([edge.points[i]]);
      });
      return runs.filter((run) => run.length > 1);
    });
  }

  toDoubtful() {
    const runs = this.doubtfulRuns();
    if (!runs.length) return;
    this.place = (this.place + 1) % runs.length;
    const run = runs[this.place];
    const low = [0, 1].map((k) => Math.min(...run.map((point) => point[k])));
    const high = [0, 1].map((k) => Math.max(...run.map((point) => point[k])));
    this.show([...low, high[0] - low[0], high[1] - low[1]], 0.8);
    this.draw();
  }

  // ---- drawing

  path(points, closed) { return `M${rounded(points).map((p) => p.join(" ")).join("L")}${closed ? "Z" : ""}`; }

  draw() {
    const { data } = this;
    this.svg.setAttribute("viewBox", this.view.map(round).join(" "));
    if (this.image.dataset.source !== data.mark) {
      this.image.dataset.source = data.mark;
      this.image.setAttribute("href", data.picture);
    }
    for (const [key, value] of Object.entries({
      x: data.corner[0], y: data.corner[1], width: data.size[0] * data.scale, height: data.size[1] * data.scale,
    })) this.image.setAttribute(key, value);
    for (const group of [this.paint, this.lines, this.handles]) group.replaceChildren();
    for (const stroke of this.correction.strokes) {
      const points = stroke.points.length > 1 ? stroke.points : [stroke.points[0], stroke.points[0]];
      element("path", {
        class: `stroke ${stroke.kind}`, d: this.path(points), "stroke-width": stroke.width_px,
      }, this.paint);
    }
    this.edges.forEach((edge, e) => this.drawEdge(edge, e));
    this.drawPolygon();
    this.showTool();
  }

  drawEdge(edge, e) {
    if (edge.points.length < 2) return;
    const d = this.path(edge.points);
    element("path", { class: "halo", d }, this.lines);
    let start = 0;
    for (let i = 1; i <= edge.points.length; i += 1) {
      if (i === edge.points.length || edge.sure[i] !== edge.sure[start]) {
        const part = edge.points.slice(Math.max(0, start - 1), i);
        if (part.length > 1) {
          element("path", { class: edge.sure[start] ? "edge" : "edge unsure", d: this.path(part) }, this.lines);
        }
        start = i;
      }
    }
    if (this.tool !== "pull") return;
    const { words } = this.data;
    const count = Math.floor((edge.points.length - 1) / EVERY) + 1;
    for (let n = 0; n < count; n += 1) {
      this.handle(edge.points[n * EVERY], {
        "data-edge": e, "data-point": n, tabindex: n ? -1 : 0, role: "button",
        "aria-label": `${words[edge.side]}, ${words.point} ${n + 1} ${words.of} ${count}`,
      }).addEventListener("keydown", (event) => this.key(event, e, n, count));
    }
  }

  drawPolygon() {
    const line = this.line || this.correction.polygon;
    if (!line || !line.length) return;
    element("path", { class: "halo", d: this.path(line, !this.line) }, this.lines);
    element("path", { class: "polygon", d: this.path(line, !this.line) }, this.lines);
    if (this.tool !== "round") return;
    const step = Math.max(1, Math.floor(line.length / 60));
    line.forEach((point, i) => { if (i % step === 0) this.handle(point, { "data-corner": i }); });
  }

  handle([cx, cy], attributes) {
    return element("circle", { class: "handle", cx: round(cx), cy: round(cy), r: 5 * this.perPixel(), ...attributes },
      this.handles);
  }

  showTool() {
    const { words } = this.data;
    for (const [name, made] of Object.entries(this.tools)) {
      made.setAttribute("aria-pressed", String(name === this.tool));
    }
    this.tools.pull.disabled = !this.edges.length;
    this.reaches.style.display = this.tool === "pull" ? "" : "none";
    this.brushes.style.display = this.tool === "pull" ? "none" : "";
    this.brushes.disabled = this.tool === "round";
    this.close.disabled = !(this.line && this.line.length > 3);
    this.next.disabled = !this.doubtfulRuns().length;
    this.undo.disabled = !this.past.length && !(this.line && this.line.length);
    this.hint.textContent = words.hints[this.tool];
    this.svg.style.cursor = this.tool === "pull" ? "move" : "crosshair";
  }

  // ---- changing

  remember() {
    this.past.push(copy(this.correction));
    if (this.past.length > 200) this.past.shift();
  }

  commit() {
    this.waits = true;
    this.send("correction", JSON.stringify(this.correction));
    this.draw();
  }

  back() {
    if (this.line) {
      this.line.length -= Math.min(this.line.length, this.lastLength || 1);
      this.lastLength = 1;
      if (!this.line.length) this.line = null;
      this.draw();
      return;
    }
    if (!this.past.length) return;
    this.correction = this.past.pop();
    this.commit();
  }

  closeLine() {
    if (!this.line || this.line.length < 4) return;
    this.remember();
    this.correction.polygon = rounded(this.line);
    this.correction.edges = [];
    this.line = null;
    this.commit();
  }

  pull(e, index, move, before) {
    const edge = this.edges[e];
    edge.points = pulled(before, index, move, REACHES[this.reach]);
    return movedPart(before, edge.points);
  }

  keepPull(e, part) {
    if (part.length < 2) return;
    this.remember();
    this.correction.edges = [...(this.correction.edges || []), { side: this.edges[e].side, points: rounded(part) }];
    this.commit();
  }

  key(event, e, n, count) {
    const fast = event.shiftKey ? 10 : 2;
    const points = this.edges[e].points;
    const up = points[0][1] > points[points.length - 1][1] ? 1 : -1;
    let next = n;
    if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      const steps = event.key === "ArrowLeft" ? -fast : fast;
      this.keepPull(e, this.pull(e, n * EVERY, this.across(points, n * EVERY, steps), copy(points)));
    } else if (event.key === "ArrowUp") next = Math.min(count - 1, Math.max(0, n + up));
    else if (event.key === "ArrowDown") next = Math.min(count - 1, Math.max(0, n - up));
    else if (event.key === "z" && (event.ctrlKey || event.metaKey)) this.back();
    else return;
    event.preventDefault();
    event.stopPropagation();
    this.draw();
    const there = this.handles.querySelector(`[data-edge="${e}"][data-point="${next}"]`);
    if (there) there.focus();
  }

  // along the edge's normal, so that it also serves a limb that lies
  across(points, i, steps) {
    const below = points[Math.max(0, i - 1)];
    const above = points[Math.min(points.length - 1, i + 1)];
    let [x, y] = [above[1] - below[1], below[0] - above[0]];
    const length = Math.hypot(x, y) || 1;
    if (Math.abs(x) >= Math.abs(y) ? x < 0 : y < 0) { x = -x; y = -y; }
    return [(x / length) * steps, (y / length) * steps];
  }

  // ---- fingers and mouse

  down(event) {
    event.preventDefault();
    this.svg.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.pointers.size === 2) {
      this.cancel();
      this.gesture = { kind: "pinch", ...this.fingers() };
      return;
    }
    if (this.pointers.size > 2) return;
    const start = this.at(event);
    this.gesture = this.begin(start, [event.clientX, event.clientY]);
  }

  corner() {
    const { left, top } = this.svg.getBoundingClientRect();
    return [left, top];
  }

  begin(start, screen) {
    const reach = GRAB_PX * this.perPixel();
    const base = { start, screen, moved: false, place: this.corner() };
    if (this.tool === "pull") {
      let best = { far: reach };
      this.edges.forEach((edge, e) => edge.points.forEach((point, index) => {
        const far = apart(point, start);
        if (far < best.far) best = { far, e, index };
      }));
      if (best.e === undefined) return { ...base, kind: "pan" };
      return { ...base, kind: "pull", ...best, before: copy(this.edges[best.e].points) };
    }
    if (this.tool === "round") {
      const line = this.line || this.correction.polygon || [];
      const corner = line.findIndex((point) => apart(point, start) < reach / 2);
      if (corner >= 0) return { ...base, kind: "corner", corner, before: copy(line) };
      return { ...base, kind: "draw" };
    }
    this.remember();
    const stroke = { kind: this.tool, width_px: this.brush * this.data.scale, points: rounded([start]) };
    this.correction.strokes = [...(this.correction.strokes || []), stroke];
    return { ...base, kind: "paint", stroke };
  }

  fingers() {
    const [a, b] = [...this.pointers.values()];
    const middle = { clientX: (a[0] + b[0]) / 2, clientY: (a[1] + b[1]) / 2 };
    return { apart: Math.max(apart(a, b), 1), middle: this.at(middle) };
  }

  cancel() {
    const gesture = this.gesture;
    if (!gesture) return;
    if (gesture.kind === "pull") this.edges[gesture.e].points = gesture.before;
    if (gesture.kind === "paint") this.correction = this.past.pop();
    if (gesture.kind === "corner") this.setLine(gesture.before);
    if (gesture.kind === "draw" && gesture.moved) this.line.length -= gesture.added;
    this.gesture = null;
    this.draw();
  }

  setLine(points) {
    if (this.line) this.line = points;
    else this.correction.polygon = points;
  }

  move(event) {
    if (!this.pointers.has(event.pointerId) || !this.gesture) return;
    this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    const { gesture } = this;
    if (gesture.kind === "pinch") {
      const now = this.fingers();
      const by = gesture.apart / now.apart;
      this.view[0] += gesture.middle[0] - now.middle[0];
      this.view[1] += gesture.middle[1] - now.middle[1];
      gesture.apart = now.apart;
      this.zoom(by, gesture.middle);
      gesture.middle = this.fingers().middle;
      return;
    }
    // the page has moved under the hand: what it draws now would stand in another place than it was aimed at
    if (apart(gesture.place, this.corner()) > MOVED_PX) { this.cancel(); return; }
    if (!gesture.moved && apart(gesture.screen, [event.clientX, event.clientY]) < TAP_PX) return;
    gesture.moved = true;
    const here = this.at(event);
    const by = [here[0] - gesture.start[0], here[1] - gesture.start[1]];
    if (gesture.kind === "pan") {
      this.view[0] -= by[0];
      this.view[1] -= by[1];
    } else if (gesture.kind === "pull") {
      gesture.part = this.pull(gesture.e, gesture.index, by, gesture.before);
    } else if (gesture.kind === "paint") {
      gesture.stroke.points.push(here.map(round));
    } else if (gesture.kind === "corner") {
      const points = copy(gesture.before);
      points[gesture.corner] = here;
      this.setLine(points);
    } else if (gesture.kind === "draw") {
      if (!this.line) this.line = [];
      if (!gesture.added) { this.line.push(gesture.start); gesture.added = 1; }
      if (apart(this.line[this.line.length - 1], here) > 4 * this.perPixel()) {
        this.line.push(here);
        gesture.added += 1;
      }
    }
    this.draw();
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId)) return;
    const { gesture } = this;
    if (!gesture) return;
    if (gesture.kind === "pinch") {
      if (!this.pointers.size) this.gesture = null;
      return;
    }
    this.gesture = null;
    if (event.type === "pointercancel") { this.gesture = gesture; this.cancel(); return; }
    if (gesture.kind === "pull" && gesture.part) this.keepPull(gesture.e, gesture.part);
    else if (gesture.kind === "paint") this.commit();
    else if (gesture.kind === "corner" && gesture.moved && !this.line) {
      const after = this.correction.polygon;
      this.correction.polygon = gesture.before;
      this.remember();
      this.correction.polygon = rounded(after);
      this.commit();
    } else if (gesture.kind === "draw" && !gesture.moved) {
      this.line = [...(this.line || []), gesture.start];
      this.lastLength = 1;
    } else if (gesture.kind === "draw") {
      // the line ends where the hand left it
      const here = this.at(event);
      if (apart(this.line[this.line.length - 1], here) > 0.5 * this.perPixel()) {
        this.line.push(here);
        gesture.added += 1;
      }
      this.lastLength = gesture.added;
    }
    this.draw();
  }
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".editor");
  const there = root.outlineEditor;
  if (there && there.photo === data.photo_sha256) there.update(data, setTriggerValue);
  else {
    root.outlineEditor = new Editor(root, data, setTriggerValue);
    root.outlineEditor.draw();
  }
}
