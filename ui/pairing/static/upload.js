// Sends photographs, sealed with the key that stands behind the # of the address and is never sent.
// The browser's own cipher is not offered on a plain address of a network; hence the library.
import {chacha20poly1305} from "./noble/chacha.js";

const WORDS = JSON.parse(document.getElementById("words").textContent);
const FORM = "digitise-pairing/1 ";
const NONCE = 12, TRIES = 3, PAUSE_MS = 1500, REFRESH_MS = 1000;
const KEPT = "digitise-pairing";

const state = document.getElementById("state"), give = document.getElementById("give"), list = document.getElementById("sent");
const bytes = (text) => new TextEncoder().encode(text);
const hex = (count) => [...random(count)].map((byte) => byte.toString(16).padStart(2, "0")).join("");

let key = null, device = "", ends = 0, over = false;
const waiting = [];
let busy = false;

function random(count) {
  return crypto.getRandomValues(new Uint8Array(count));
}

function toText(data) {
  return btoa(String.fromCharCode(...data)).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

function fromText(text) {
  const decoded = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(decoded, (sign) => sign.charCodeAt(0));
}

function joined(...parts) {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

function seal(plain, about) {
  const nonce = random(NONCE);
  return joined(nonce, chacha20poly1305(key, nonce, joined(bytes(FORM), about)).encrypt(plain));
}

function unseal(sealed, about) {
  const cipher = chacha20poly1305(key, sealed.subarray(0, NONCE), joined(bytes(FORM), about));
  return cipher.decrypt(sealed.subarray(NONCE));
}

// ---- who we are: kept for this tab alone, because a phone may drop the page while its camera is open ----------
function remembered() {
  const code = location.hash.slice(1);
  if (code) {
    history.replaceState(null, "", location.pathname);
    return {code, device: hex(16)};
  }
  try {
    return JSON.parse(sessionStorage.getItem(KEPT));
  } catch {
    return null;
  }
}

function begin() {
  const known = remembered();
  try {
    key = fromText(known.code);
    device = known.device;
  } catch {
    key = null;
  }
  if (!key || key.length !== 32) {
    finish(WORDS.no_code);
    return;
  }
  try {
    sessionStorage.setItem(KEPT, JSON.stringify(known));
  } catch {
    // without it all works until the page is dropped
  }
  greet(1);
}

// ---- asking ------------------------------------------------------------------------------------------------
function ask(place, head, body, progress) {
  return new Promise((resolve, reject) => {
    const sealed = seal(bytes(JSON.stringify({device, ...head})), bytes(place));
    const nonce = sealed.slice(0, NONCE), request = new XMLHttpRequest();
    request.open("POST", `/${place}`);
    request.responseType = "arraybuffer";
    request.setRequestHeader("pairing-head", toText(sealed));
    request.upload.onprogress = (event) => progress?.(event.loaded / event.total);
    request.onerror = request.onabort = () => reject(new Error("no connection"));
    request.onload = () => resolve({status: request.status, answer: opened(request.response, nonce)});
    request.send(body ? seal(body, joined(bytes("body "), nonce)) : null);
  });
}

function opened(response, nonce) {
  try {
    return JSON.parse(new TextDecoder().decode(unseal(new Uint8Array(response), joined(bytes("answer "), nonce))));
  } catch {
    return null;
  }
}

async function greet(attempt) {
  try {
    const {status, answer} = await ask("greeting", {}, null);
    if (heard(status, answer)) {
      give.hidden = false;
    }
  } catch {
    if (attempt < TRIES) {
      setTimeout(() => greet(attempt + 1), PAUSE_MS);
    } else {
      finish(WORDS.ended);
    }
  }
}

// an answer that nobody but the computer with this key can have given
function heard(status, answer) {
  if (status === 200 && answer) {
    ends = performance.now() + answer.left_s * 1000;
    tell();
    return true;
  }
  if (status === 409 && answer) {
    finish(WORDS.used);
  } else if (status === 410) {
    finish(answer?.left_s ? WORDS.closed : WORDS.ended);
  } else if (status === 403) {
    finish(WORDS.wrong);
  }
  return false;
}

// ---- what is seen ------------------------------------------------------------------------------------------
function finish(words) {
  over = true;
  give.hidden = true;
  state.textContent = words;
  state.classList.add("bad");
  try {
    sessionStorage.removeItem(KEPT);
  } catch {
    // nothing was kept
  }
}

function tell() {
  const left = Math.max(0, Math.ceil((ends - performance.now()) / 1000));
  const clock = `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
  const words = WORDS.open.replace("{}", clock);
  if (state.textContent !== words) {
    state.textContent = words;
  }
}

setInterval(() => {
  if (over || !ends) {
    return;
  }
  if (performance.now() > ends && !busy) {
    finish(WORDS.ended);
  } else {
    tell();
  }
}, REFRESH_MS);
// each second is for the eye: a voice would never end
state.setAttribute("aria-live", "off");

function line(file) {
  const item = document.createElement("li");
  const name = Object.assign(document.createElement("span"), {className: "name", textContent: file.name});
  const says = Object.assign(document.createElement("span"), {className: "says", textContent: WORDS.waits});
  const bar = Object.assign(document.createElement("progress"), {max: 1, value: 0});
  bar.setAttribute("aria-label", file.name);
  says.setAttribute("role", "status");
  item.append(name, says, bar);
  list.prepend(item);
  return {item, says, bar};
}

function settle(shown, kind, words) {
  shown.bar.remove();
  shown.item.className = kind;
  shown.says.textContent = words;
}

function add(files) {
  for (const file of files) {
    const job = {file, photo: hex(8), shown: line(file)};
    if (file.size > WORDS.largest) {
      settle(job.shown, "bad", WORDS.too_large);
    } else {
      waiting.push(job);
    }
  }
  next();
}

async function next() {
  if (busy || !waiting.length) {
    return;
  }
  busy = true;
  await send(waiting.shift());
  busy = false;
  next();
}

async function send(job) {
  if (over) {
    settle(job.shown, "bad", WORDS.not_sent);
    return;
  }
  const {file, photo, shown} = job;
  const head = {photo, name: file.name.slice(-100)};
  for (let attempt = 1; attempt <= TRIES; attempt += 1) {
    shown.says.textContent = WORDS.sending;
    try {
      const data = new Uint8Array(await file.arrayBuffer());
      const {status, answer} = await ask("photograph", head, data, (part) => { shown.bar.value = part; });
      if (heard(status, answer)) {
        settle(shown, "good", WORDS.arrived);
      } else if (status === 413) {
        settle(shown, "bad", WORDS.too_large);
      } else {
        settle(shown, "bad", answer?.said || WORDS.not_sent);
      }
      return;
    } catch {
      await new Promise((resolve) => setTimeout(resolve, PAUSE_MS));
    }
  }
  settle(shown, "bad", WORDS.not_sent);
  const again = Object.assign(document.createElement("button"), {type: "button", textContent: WORDS.again});
  again.onclick = () => {
    again.remove();
    shown.item.className = "";
    shown.item.append(shown.bar);
    waiting.push(job);
    next();
  };
  shown.item.append(again);
}

for (const input of document.querySelectorAll("input[type=file]")) {
  input.addEventListener("change", () => {
    add([...input.files]);
    input.value = "";
  });
}
begin();
