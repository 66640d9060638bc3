// The form of a layout, drawn as it is typed. Without this everything works by its buttons.

const PAUSE_MS = 600;
let form = document.getElementById("layout");
let asked = 0;
let timer = 0;
let changed = false;

const KEPT = "What you typed is still here.";

/** Say something once; said again it would be read out again. */
function say(words) {
  const state = document.getElementById("state");
  if (state.textContent !== words) state.textContent = words;
}

/** Say how the drawing stands. */
function sayState() {
  const count = document.querySelectorAll("#mends li").length;
  const drawing = document.getElementById("drawing");
  const old = drawing.classList.contains("old") ? "; the drawing is older" : "";
  if (count) say(`${count} thing${count === 1 ? "" : "s"} to mend${old}`);
  else if (old || !drawing.querySelector("figure")) say(`Not drawn yet${old}`);
  else say("Drawn as typed. Not saved yet.");
}

/** Send what is typed as if `pressed` had been; gives the page that answers, null if none came. */
async function ask(pressed) {
  const body = new URLSearchParams(new FormData(form));
  body.set("do", pressed);
  const own = ++asked;
  try {
    const answer = await fetch(form.action, { method: "POST", body });
    const text = await answer.text();
    if (own !== asked) return null; // something newer was asked meanwhile
    const page = new DOMParser().parseFromString(text, "text/html");
    if (page.getElementById("mends")) return page;
    const come = "come in again in a second window, then go on here.";
    say(answer.redirected ? `The access code is asked for: ${come} ${KEPT}` :
      `The page refused this (${answer.status}). ${KEPT}`);
  } catch {
    if (own === asked) say(`The page cannot be reached. ${KEPT}`);
  }
  return null;
}

/** Show the drawing and what is to be mended, and leave the fields to whoever types. */
function showSeen(page) {
  const mends = page.getElementById("mends");
  document.getElementById("mends").replaceChildren(...mends.childNodes);
  const drawing = page.getElementById("drawing");
  const here = document.getElementById("drawing");
  const drawn = drawing.querySelector("figure") !== null;
  if (drawn || !here.querySelector("figure")) {
    here.replaceChildren(...drawing.childNodes);
  }
  here.classList.toggle("old", !drawn && here.querySelector("figure") !== null);
  for (const said of document.querySelectorAll(".wrong, .count")) {
    const mark = said.id || said.dataset.counts;
    const other = said.id
      ? page.getElementById(mark)
      : page.querySelector(`[data-counts="${CSS.escape(mark)}"]`);
    said.textContent = other ? other.textContent.trim() : "";
  }
  for (const field of form.querySelectorAll("[aria-describedby]")) {
    const other = page.getElementById(field.id);
    const wrong = other !== null && other.hasAttribute("aria-invalid");
    field.toggleAttribute("aria-invalid", wrong);
    if (wrong) field.setAttribute("aria-invalid", "true");
  }
  for (const list of document.querySelectorAll("datalist")) {
    const other = page.getElementById(list.id);
    if (other) list.replaceChildren(...other.childNodes);
  }
  showNames();
  sayState();
}

/** Put another form in the place of this one: a row more or less, other fields for a kind. */
async function showWhole(pressed) {
  clearTimeout(timer);
  const open = [...form.querySelectorAll("details[open]")].map((one) => one.id);
  const focused = document.activeElement ? document.activeElement.id : "";
  form.inert = true;
  const page = await ask(pressed);
  form.inert = false;
  const other = page && page.getElementById("layout");
  if (!other) return; // the text was shown instead, or nothing came
  const figure = document.querySelector("#drawing figure");
  const wanted = other.querySelector(".sheet [autofocus]");
  wanted?.removeAttribute("autofocus"); // the browser heeds it for a whole page only
  form.replaceWith(other);
  form = other;
  if (figure && !document.querySelector("#drawing figure")) {
    document.getElementById("drawing").replaceChildren(figure);
    document.getElementById("drawing").classList.add("old");
  }
  for (const id of pressed.startsWith("remove") ? [] : open) {
    const details = document.getElementById(id);
    if (details) details.open = true;
  }
  prepare();
  (wanted ?? document.getElementById(focused))?.focus();
  sayState();
}

/** Pulleys that are on no belt yet, to tap under the path of a belt. */
function showNames() {
  const pulleys = [...document.querySelectorAll("#pulleys option")].map((one) => one.value);
  const paths = [...form.querySelectorAll("textarea[data-pulleys]")];
  const lines = paths.flatMap((path) => path.value.split("\n"));
  const on = new Set(lines.map((line) => line.replace(/\s*\(\s*back\s*\)$/i, "").trim()));
  for (const path of paths) {
    path.parentElement.querySelector(".names")?.remove();
    const left = pulleys.filter((name) => !on.has(name));
    if (!left.length) continue;
    const names = document.createElement("span");
    names.className = "names";
    for (const name of left) {
      for (const entry of [name, `${name} (back)`]) {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "quiet";
        button.textContent = `+ ${entry}`;
        button.addEventListener("click", () => {
          path.value = `${path.value.trimEnd()}\n${entry}`.trimStart();
          path.focus();
          path.dispatchEvent(new Event("input", { bubbles: true }));
        });
        names.append(button);
      }
    }
    path.parentElement.append(names);
  }
}

/** Fold away the fields of a table that is not there. */
function showUsed(box) {
  const fields = box.closest("fieldset").querySelector(":scope > .fields");
  fields.classList.toggle("unused", !box.checked);
}

/** Bring a field into view, unfolding what is round it, and put the cursor there. */
function goTo(id, line) {
  const field = document.getElementById(id);
  if (!field) return;
  for (let around = field.closest("details"); around; around = around.parentElement.closest("details")) {
    around.open = true;
  }
  field.closest(".unused")?.classList.remove("unused");
  field.focus();
  field.scrollIntoView({ block: "center" });
  if (line && field.setSelectionRange) {
    const lines = field.value.split("\n");
    const start = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
    field.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
    field.scrollTop = Math.max(0, (field.scrollHeight * (line - 4)) / lines.length);
  }
}

function prepare() {
  showNames();
  for (const box of form.querySelectorAll("[data-opens]")) showUsed(box);
  form.addEventListener("input", (event) => {
    changed = true;
    if (event.target.hasAttribute("data-opens")) showUsed(event.target);
    clearTimeout(timer);
    if (event.target.hasAttribute("data-redraws")) {
      showWhole("draw");
      return;
    }
    timer = setTimeout(async () => {
      const page = await ask("draw");
      if (page) showSeen(page);
    }, PAUSE_MS);
  });
  form.addEventListener("submit", (event) => {
    const pressed = event.submitter?.value ?? "draw";
    clearTimeout(timer);
    if (pressed === "draw") {
      event.preventDefault();
      ask("draw").then((page) => page && showSeen(page));
    } else if (/^(add|remove) /.test(pressed)) {
      event.preventDefault();
      changed = true;
      showWhole(pressed);
    } else {
      changed = false; // it goes with the form
    }
  });
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("#mends a");
  if (!link) return;
  event.preventDefault();
  goTo(link.getAttribute("href").slice(1), Number(link.dataset.line));
});
window.addEventListener("beforeunload", (event) => {
  if (changed) event.preventDefault();
});

prepare();
