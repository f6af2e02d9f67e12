// What the browser itself has to do on every page: turn limbs about their own axis by mouse, finger and arrow
// keys without keeping a finger from scrolling the page, print them, and ask for a keyboard of numbers.
// It reaches into the chart library by three names: gd._fullLayout, scene._scene, and its camera's methods
// toImage and setViewport.  Where they are missing the charts stay as the library draws them.

const TURN_PER_PX = 0.011; // radians
const TURN_PER_KEY = Math.PI / 12;
const ZOOM = 1.25;
const NEAREST = 0.35;
const FARTHEST = 4;

const charts = () => [...document.querySelectorAll(".js-plotly-plot")].filter((gd) => scenesOf(gd).length);

function scenesOf(gd) {
  const layout = gd._fullLayout || {};
  return ((layout._subplots || {}).gl3d || []).map((id) => layout[id] && layout[id]._scene).filter(Boolean);
}

// all limbs that stand side by side turn together
function together(gd) {
  const group = gd.closest(".st-key-sides");
  return group ? charts().filter((other) => group.contains(other)) : [gd];
}

function look(gd, change) {
  for (const other of together(gd)) {
    for (const scene of scenesOf(other)) {
      const camera = scene.getCamera();
      other.limbAtFirst = other.limbAtFirst || JSON.parse(JSON.stringify(camera));
      change(camera, other.limbAtFirst);
      scene.setViewport({ ...scene.fullSceneLayout, camera, aspectratio: scene.fullSceneLayout.aspectratio });
      // so that the view stays when the page is drawn anew
      const layout = other._fullLayout[scene.id];
      layout.camera = camera;
      if (other.layout && other.layout[scene.id]) other.layout[scene.id].camera = camera;
    }
  }
}

function turn(gd, angle) {
  look(gd, (camera) => {
    const [x, y] = [camera.eye.x, camera.eye.y];
    camera.eye.x = x * Math.cos(angle) - y * Math.sin(angle);
    camera.eye.y = x * Math.sin(angle) + y * Math.cos(angle);
    camera.up = { x: 0, y: 0, z: 1 };
  });
}

function zoom(gd, factor) {
  for (const other of together(gd)) {
    for (const scene of scenesOf(other)) {
      const ratio = scene.fullSceneLayout.aspectratio;
      other.limbRatio = other.limbRatio || { ...ratio };
      const now = Math.min(FARTHEST, Math.max(NEAREST, (other.limbZoom || 1) * factor));
      other.limbZoom = now;
      const wanted = Object.fromEntries("xyz".split("").map((k) => [k, other.limbRatio[k] * now]));
      Object.assign(ratio, wanted);
      scene.setViewport({ ...scene.fullSceneLayout, camera: scene.getCamera(), aspectratio: wanted });
    }
  }
}

function reset(gd) {
  look(gd, (camera, first) => Object.assign(camera, JSON.parse(JSON.stringify(first))));
  for (const other of together(gd)) zoom(other, 1 / (other.limbZoom || 1));
}

function buttons(gd, words) {
  const bar = document.createElement("div");
  bar.className = "limb-view";
  for (const [label, sign, act] of [
    [words.left, "⟲", () => turn(gd, -TURN_PER_KEY)],
    [words.right, "⟳", () => turn(gd, TURN_PER_KEY)],
    [words.larger, "+", () => zoom(gd, ZOOM)],
    [words.smaller, "−", () => zoom(gd, 1 / ZOOM)],
    [words.reset, words.resetShort, () => reset(gd)],
  ]) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = sign;
    made.setAttribute("aria-label", label);
    made.title = label;
    made.addEventListener("click", act);
    bar.appendChild(made);
  }
  return bar;
}

function prepare(gd, words) {
  if (gd.limbReady) {
    if (!gd.contains(gd.limbBar)) gd.appendChild(gd.limbBar);
    return;
  }
  gd.limbReady = true;
  gd.limbBar = buttons(gd, words);
  gd.appendChild(gd.limbBar);
  let last = null;
  const inside = (event) => {
    if (!event.target.closest || event.target.closest(".limb-view")) return false;
    return event.pointerType === "touch" || event.target.closest(".gl-container, canvas");
  };
  const stop = (event) => { event.stopPropagation(); };
  // before the library hears of it: it would tumble the limb, and swallow a finger's scrolling
  for (const name of ["mousedown", "mousemove", "mouseup", "touchstart", "touchmove", "touchend", "wheel"]) {
    gd.addEventListener(name, (event) => { if (inside(event)) stop(event); }, { capture: true, passive: true });
  }
  gd.addEventListener("pointerdown", (event) => {
    if (!inside(event)) return;
    last = event.clientX;
    if (event.pointerType === "mouse") event.target.setPointerCapture(event.pointerId);
  });
  gd.addEventListener("pointermove", (event) => {
    if (last === null) return;
    turn(gd, (last - event.clientX) * TURN_PER_PX);
    last = event.clientX;
  });
  for (const name of ["pointerup", "pointercancel", "pointerleave"]) {
    gd.addEventListener(name, () => { last = null; });
  }
  gd.tabIndex = 0;
  gd.setAttribute("role", "group");
  gd.setAttribute("aria-label", words.limb);
  gd.addEventListener("keydown", (event) => {
    if (event.target !== gd) return;
    const act = {
      ArrowLeft: () => turn(gd, -TURN_PER_KEY), ArrowRight: () => turn(gd, TURN_PER_KEY),
      "+": () => zoom(gd, ZOOM), "-": () => zoom(gd, 1 / ZOOM), Home: () => reset(gd),
    }[event.key];
    if (act) { act(); event.preventDefault(); }
  });
}

// a browser prints what the graphics card drew as blank: a picture takes its place meanwhile
function beforePrint() {
  for (const gd of charts()) {
    for (const scene of scenesOf(gd)) {
      const picture = document.createElement("img");
      picture.className = "limb-printed";
      picture.src = scene.toImage("png");
      scene.container.appendChild(picture);
    }
  }
}

function afterPrint() {
  for (const picture of document.querySelectorAll(".limb-printed")) picture.remove();
}

// from a girth to the next row's height, past the button that removes the row: who types a column of numbers
// would lose every third one on it; Shift and Tab leads back to the button
function pastRemove(event) {
  if (event.key !== "Tab" || event.shiftKey || !event.target.closest(".st-key-tape")) return;
  const fields = [...document.querySelectorAll(".st-key-tape input")];
  const at = fields.indexOf(event.target);
  if (at % 2 !== 1 || at + 1 >= fields.length) return;
  event.preventDefault();
  fields[at + 1].focus();
  fields[at + 1].select();
}

// ---- keys for the commonest steps

const TYPING = "input, textarea, select, dialog, [contenteditable], [role=slider], [role=combobox], [role=grid]";
const KEYS_OFF = "limb-keys-off"; // in the browser's own memory

const keysAreOff = () => window.localStorage.getItem(KEYS_OFF) === "1";

function reach(selector) {
  const found = [...document.querySelectorAll(selector)].find((one) => !one.disabled && one.getClientRects().length);
  if (!found) return false;
  if (found.matches("input, textarea")) { found.focus(); found.select(); } else found.click();
  return true;
}

function stepOfKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest(TYPING)) return;
  const { keys, keysTitle, keysOn, keysClose } = window.limbWords;
  if (event.key === "?") {
    listKeys(keys, keysTitle, keysOn, keysClose);
    event.preventDefault();
    return;
  }
  const step = keysAreOff() ? undefined : keys.find(([key]) => key === event.key.toLowerCase());
  if (step && reach(step[2])) event.preventDefault();
}

function listKeys(keys, title, on, close) {
  const box = document.createElement("dialog");
  box.className = "limb-keys";
  box.setAttribute("aria-label", title);
  const add = (parent, name, words) => {
    const made = document.createElement(name);
    made.textContent = words;
    parent.appendChild(made);
    return made;
  };
  add(box, "h2", title);
  const list = add(box, "dl", "");
  for (const [key, words] of keys) { add(list, "dt", key); add(list, "dd", words); }
  const label = add(box, "label", "");
  const choice = document.createElement("input");
  choice.type = "checkbox";
  choice.checked = !keysAreOff();
  choice.addEventListener("change", () => window.localStorage.setItem(KEYS_OFF, choice.checked ? "0" : "1"));
  label.append(choice, ` ${on}`);
  add(box, "button", close).addEventListener("click", () => box.close());
  box.addEventListener("close", () => box.remove());
  document.querySelector("[data-testid=stApp]").appendChild(box);
  box.showModal();
}

// a code to scan that was asked for is seen whole, once
function showCode() {
  const code = document.querySelector("img.pair-code");
  if (!code || window.limbCode === code.src) return;
  window.limbCode = code.src;
  code.scrollIntoView({ block: "center" });
}

// a page is drawn when nothing of it is still loaded: from then on nothing is hidden while its place is not known
// (first.css), because somebody may be typing in it
function noteDrawn() {
  const page = document.documentElement;
  if (page.dataset.drawn === location.pathname) return;
  delete page.dataset.drawn;
  const app = document.querySelector("[data-testid=stApp]");
  const isDrawn = app?.dataset.testScriptState !== "running" && !document.querySelector("[data-testid=stSkeleton]");
  if (isDrawn) page.dataset.drawn = location.pathname;
  else setTimeout(noteDrawn, 500);
}

function tidy(words) {
  for (const gd of charts()) prepare(gd, words);
  showCode();
  noteDrawn();
  for (const field of document.querySelectorAll(".st-key-tape input")) field.inputMode = "decimal";
}

export default function (component) {
  const { words, language } = component.data;
  document.documentElement.lang = language;
  window.limbWords = words;
  if (window.limbPage) window.limbPage.disconnect();
  else {
    window.addEventListener("beforeprint", beforePrint);
    window.addEventListener("afterprint", afterPrint);
    document.addEventListener("keydown", pastRemove);
    document.addEventListener("keydown", stepOfKey);
  }
  let asked = false;
  const later = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; tidy(words); });
  };
  window.limbPage = new MutationObserver(later);
  window.limbPage.observe(document.body, { childList: true, subtree: true });
  later();
}
