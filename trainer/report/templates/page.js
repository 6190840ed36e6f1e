// Hears steps, walks a cursor along the take, and opens the step that a link leads to.
const sound = document.getElementById("sound");
const strip = document.getElementById("strip");
const cursor = document.getElementById("cursor");
const places = [...document.querySelectorAll("a[data-at]")].map((link) => ({
  cell: link.closest("td"),
  from: Number(link.dataset.at),
  to: Number(link.dataset.until),
}));
let until = 0;
let frame = 0;

function hear(from, to) {
  sound.currentTime = from;
  until = to;
  sound.play();
}

function follow() {
  const now = sound.currentTime;
  for (const place of places) {
    place.cell.classList.toggle("now", now >= place.from && now < place.to);
  }
  if (cursor) {
    const x = (now / Number(strip.dataset.seconds)) * strip.viewBox.baseVal.width;
    cursor.setAttribute("x1", x);
    cursor.setAttribute("x2", x);
  }
  if (until && now >= until) {
    sound.pause();
    until = 0;
  }
  if (!sound.paused && !frame) {
    frame = requestAnimationFrame(() => {
      frame = 0;
      follow();
    });
  }
}

function open_target() {
  const target = location.hash && document.getElementById(location.hash.slice(1));
  if (target && target.tagName === "DETAILS") {
    target.open = true;
    target.scrollIntoView();
  }
}

if (sound) {
  for (const button of document.querySelectorAll("button[data-from]")) {
    button.addEventListener("click", () => hear(Number(button.dataset.from), Number(button.dataset.to)));
  }
  sound.addEventListener("play", follow);
  sound.addEventListener("seeked", follow);
  sound.addEventListener("timeupdate", follow);
  if (strip) {
    strip.addEventListener("click", (event) => {
      const box = strip.getBoundingClientRect();
      sound.currentTime = ((event.clientX - box.left) / box.width) * Number(strip.dataset.seconds);
    });
  }
}
addEventListener("hashchange", open_target);
open_target();
