// One sound at a time, and a switch from before to after at the same second. Without this
// script each sound has its own player and all can be heard.

document.addEventListener("play", (event) => {
  for (const other of document.querySelectorAll("audio")) {
    if (other !== event.target) other.pause();
  }
}, true);

class BeforeAfterSwitch extends HTMLElement {
  connectedCallback() {
    const [before, after] = this.parentElement.querySelectorAll("audio");
    if (!after || this.firstChild) return;
    const button = document.createElement("button");
    button.type = "button";
    button.id = "switch";
    const told = document.createElement("span");
    told.setAttribute("role", "status");
    this.append(button, told);
    let playing = null;
    const show = () => {
      button.textContent = { null: "Play before", before: "Switch to after", after: "Switch to before" }[playing];
      told.textContent = playing ? `You hear ${playing}.` : "";
    };
    for (const [name, one, other] of [["before", before, after], ["after", after, before]]) {
      one.addEventListener("play", () => {
        playing = name;
        other.preload = "auto"; // so that the switch leaves no gap
        show();
      });
      one.addEventListener("ended", () => { playing = null; show(); });
    }
    button.addEventListener("click", () => {
      const from = playing === "before" ? before : after;
      const to = playing === "before" ? after : before;
      const second = playing ? from.currentTime : 0;
      from.pause();
      to.play(); // at once: phones allow it only while the button is pressed
      if (to.readyState > 0) to.currentTime = second;
      else to.addEventListener("loadedmetadata", () => { to.currentTime = second; }, { once: true });
    });
    show();
  }
}

customElements.define("before-after-switch", BeforeAfterSwitch);
