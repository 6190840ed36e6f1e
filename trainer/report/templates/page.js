// A button plays its step: from data-from to data-to, in seconds of the page's sound.
const sound = document.getElementById("sound");
let until = 0;

for (const button of document.querySelectorAll("button[data-from]")) {
  button.addEventListener("click", () => {
    sound.currentTime = Number(button.dataset.from);
    until = Number(button.dataset.to);
    sound.play();
  });
}

if (sound) {
  sound.addEventListener("timeupdate", () => {
    if (until && sound.currentTime >= until) {
      sound.pause();
      until = 0;
    }
  });
}
