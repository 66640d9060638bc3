// The code to scan carries the access code behind the #, which is never sent by itself.
const code = document.getElementById("code");

function fillIn() {
  const scanned = decodeURIComponent(location.hash.slice(1));
  if (!code || !scanned) return;
  code.value = scanned.slice(0, 40);
  history.replaceState(null, "", location.pathname);
}

addEventListener("hashchange", fillIn);
fillIn();
