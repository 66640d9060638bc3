// Records in the page where the browser lets it, with everything off that would take a
// steady engine for noise, and sends what was recorded, again and again if need be.

const form = document.getElementById("send");
const part = (id) => document.getElementById(id);
let token = tokenOf(document);
const WISHES = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const KINDS = ["audio/webm;codecs=pcm", "audio/webm;codecs=opus", "audio/mp4"];
const WAIT_S = 4;
const LOST = "No connection.";
const OUT = "The access code is asked for again: open this page in another tab and give it.";
let unsent = null;

addEventListener("beforeunload", (event) => {
  if (unsent) event.preventDefault();
});

if (window.isSecureContext && navigator.mediaDevices && window.MediaRecorder) {
  part("recorder").hidden = false;
  part("no-recorder").hidden = true;
  part("files").open = false;
  part("record").textContent = `Record ${form.dataset.seconds} s`;
  part("record").addEventListener("click", startOrStop);
}

// A file chosen by hand is sent the same way, so that a lost connection loses nothing typed.
form.addEventListener("submit", (event) => {
  const files = [...form.querySelectorAll('input[type="file"]')].flatMap((one) => [...one.files]);
  if (files.length === 0) {
    event.preventDefault();
    say("Choose a recording first, or record one.");
    return;
  }
  if (files[0].size > Number(form.dataset.mostBytes)) {
    event.preventDefault();
    say(`This file is too large: at most ${Number(form.dataset.mostBytes) / 1e6} MB are taken.`);
    return;
  }
  event.preventDefault();
  send(files[0], files[0].name, {});
});

let running = null;

async function startOrStop() {
  if (running) {
    running.recorder.stop();
    return;
  }
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ audio: WISHES });
  } catch (trouble) {
    say(`The microphone is not open to this page (${trouble.name}). Allow it in the browser, or use the phone's own recorder below.`);
    return;
  }
  const settings = stream.getAudioTracks()[0].getSettings();
  const kind = KINDS.find((one) => MediaRecorder.isTypeSupported(one));
  const recorder = new MediaRecorder(stream, { mimeType: kind, audioBitsPerSecond: 192000 });
  const pieces = [];
  recorder.addEventListener("dataavailable", (event) => pieces.push(event.data));
  recorder.addEventListener("stop", () => {
    const seconds = (performance.now() - running.began) / 1000;
    clearInterval(running.clock);
    stream.getTracks().forEach((track) => track.stop());
    running = null;
    showRunning(false);
    const whole = new Blob(pieces, { type: recorder.mimeType });
    const ending = recorder.mimeType.includes("mp4") ? "m4a" : "webm";
    say(`Recorded ${seconds.toFixed(0)} s.`);
    send(whole, `page recording ${localTime()}.${ending}`, settings);
  });
  running = { recorder, began: performance.now(), clock: setInterval(showTime, 200) };
  recorder.start(1000);
  showRunning(true);
  say(changed(settings) ? "This browser changes the sound while recording; it may not be usable. The phone's own recorder is better." : "");
}

function localTime() {
  const now = new Date();
  const here = new Date(now.getTime() - 60000 * now.getTimezoneOffset());
  return here.toISOString().slice(0, 19).replace("T", " ").replaceAll(":", "-");
}

const changed = (settings) => Object.keys(WISHES).some((name) => settings[name]);

function showRunning(on) {
  part("record").textContent = on ? "Stop" : `Record ${form.dataset.seconds} s`;
  part("recording").hidden = !on;
  const off = part("mark-off");
  off.hidden = !(on && "switchOff" in form.dataset);
  off.onclick = () => {
    const second = (performance.now() - running.began) / 1000;
    form.elements.switched_off.value = Math.max(1, second - 0.5).toFixed(1);
    off.disabled = true;
    setTimeout(() => running?.recorder.stop(), 6000);
  };
  off.disabled = false;
}

function showTime() {
  const wanted = Number(form.dataset.seconds);
  const seconds = (performance.now() - running.began) / 1000;
  part("time").value = Math.min(1, seconds / wanted);
  part("seconds").textContent = `${seconds.toFixed(0)} of ${wanted} s`;
  // What is switched off is stopped by hand: nobody knows beforehand when it stands still.
  if (seconds >= wanted + 1 && !("switchOff" in form.dataset)) running.recorder.stop();
}

function send(sound, name, settings) {
  const body = new FormData(form);
  body.delete("clip");
  body.append("settings", JSON.stringify(settings));
  body.append("clip", sound, name);
  unsent = { sound, name };
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.setRequestHeader("X-Form-Token", token);
  request.upload.onprogress = (event) => {
    if (event.lengthComputable) say(`Sending: ${((100 * event.loaded) / event.total).toFixed(0)} %`);
  };
  request.onload = () => taken(request, () => send(sound, name, settings));
  request.onerror = () => later(() => send(sound, name, settings));
  request.send(body);
}

function taken(request, sendAgain) {
  const asked = new URL(request.responseURL || location.href);
  if (request.status < 400 && asked.pathname === "/enter") {
    later(sendAgain, OUT);
  } else if (request.status < 400) {
    unsent = null;
    location.assign(request.responseURL);
  } else if (request.status === 403) {
    later(sendAgain, OUT); // signed in anew, this page's token is of the time before
  } else if (request.status === 429 || request.status >= 500) {
    later(sendAgain, "The page is busy.");
  } else {
    const page = new DOMParser().parseFromString(request.responseText, "text/html");
    const said = [...page.querySelectorAll(".trouble p, main > p")].map((one) => one.textContent);
    say(said.join(" ") || "It was not taken.", true);
  }
}

function later(sendAgain, why = LOST) {
  say(`${why} The recording is kept in this page and sent again every ${WAIT_S} s; leave the page open.`, true);
  setTimeout(async () => {
    await lookForToken();
    sendAgain();
  }, WAIT_S * 1000);
}

function tokenOf(page) {
  return page.querySelector('meta[name="form-token"]').content;
}

async function lookForToken() {
  try {
    const answer = await fetch(location.href);
    if (answer.ok && !answer.redirected) {
      token = tokenOf(new DOMParser().parseFromString(await answer.text(), "text/html"));
    }
  } catch {
    // no connection yet
  }
}

// What happened, and a way to keep what is not sent yet.
function say(words, keep = false) {
  const place = part("after-recording");
  place.replaceChildren();
  if (words) {
    const line = document.createElement("p");
    line.textContent = words;
    place.append(line);
  }
  if (keep && unsent) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(unsent.sound);
    link.download = unsent.name;
    link.className = "button";
    link.textContent = "Keep a copy on this device";
    place.append(link);
  }
}
