// Keeps the part of a page that changes by itself up to date. Without this script the page
// is right whenever it is loaded.

const now = document.getElementById("now");

function marks() {
  const open = [...now.querySelectorAll("details[open]")].map((one) => one.id);
  const focused = now.contains(document.activeElement) ? document.activeElement.id : "";
  return { open, focused };
}

let looking = false;
let again = false;

// What was waited for is in the page: a sound of it may be playing.
const hasCome = () => now.dataset.until && now.querySelector(now.dataset.until);

async function lookAgain() {
  if (hasCome()) return;
  if (looking) {
    again = true;
    return;
  }
  looking = true;
  try {
    const answer = await fetch(now.dataset.now, { headers: { Accept: "text/html" } });
    if (answer.redirected || !answer.ok) {
      location.reload();
      return;
    }
    const page = await answer.text();
    const fresh = document.createElement("template");
    fresh.innerHTML = page;
    if (fresh.innerHTML === now.innerHTML) return; // a button being pressed stays the same one
    const { open, focused } = marks();
    now.innerHTML = page; // made by our own templates, with every name escaped
    for (const id of open) {
      const one = id && document.getElementById(id);
      if (one) one.open = true;
    }
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  } catch {
    // no connection: the stream comes back by itself and looks again then
  } finally {
    looking = false;
    if (again) {
      again = false;
      lookAgain();
    }
  }
}

// A browser keeps few connections to one place: a page nobody sees gives its own back.
let stream = null;

function close() {
  stream?.close();
  stream = null;
}

function listen() {
  close();
  if (document.visibilityState !== "visible" || hasCome()) return;
  stream = new EventSource(now.dataset.events);
  stream.addEventListener("changed", lookAgain); // the first comes at once
}

if (now?.dataset.events) {
  listen();
  document.addEventListener("visibilitychange", listen);
  addEventListener("pagehide", close);
}
