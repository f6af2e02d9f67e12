// A photograph to tap: hands back the place in pixels of the whole photograph.

const SVG = "http://www.w3.org/2000/svg";
const ARM = 0.03; // of the picture's longer side
const STEP = 0.004; // of the same, for an arrow key

function element(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.appendChild(made);
  return made;
}

// From the shown part to the whole photograph and back.
export function whole(data, at) {
  return at.map((value, n) => data.corner[n] + data.scale * value);
}
export function part(data, at) {
  return at.map((value, n) => (value - data.corner[n]) / data.scale);
}

function drawCross(svg, data, at) {
  svg.querySelectorAll("line").forEach((line) => line.remove());
  if (!at) return;
  const arm = ARM * Math.max(...data.size);
  for (const kind of ["halo", "cross"]) {
    for (const [dx, dy] of [[arm, 0], [0, arm]]) {
      element("line", { class: kind, x1: at[0] - dx, y1: at[1] - dy, x2: at[0] + dx, y2: at[1] + dy }, svg);
    }
  }
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".tap");
  root.replaceChildren();
  const [width, height] = data.size;
  const svg = element("svg", { viewBox: `0 0 ${width} ${height}`, tabindex: 0, role: "application" }, root);
  svg.setAttribute("aria-label", data.alt);
  element("image", { href: data.picture, width, height }, svg);
  let at = data.at ? part(data, data.at) : null;
  drawCross(svg, data, at);
  const send = () => setTriggerValue("tap", whole(data, at).map((value) => Math.round(10 * value) / 10));
  svg.addEventListener("click", (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    at = [Math.min(Math.max(point.x, 0), width - 1), Math.min(Math.max(point.y, 0), height - 1)];
    drawCross(svg, data, at);
    send();
  });
  svg.addEventListener("keydown", (event) => {
    const move = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.key === "Enter" && at) send();
    if (!move) return;
    event.preventDefault();
    const step = STEP * Math.max(width, height);
    at = (at || [width / 2, height / 2]).map((value, n) => value + step * move[n]);
    at = [Math.min(Math.max(at[0], 0), width - 1), Math.min(Math.max(at[1], 0), height - 1)];
    drawCross(svg, data, at);
  });
}
