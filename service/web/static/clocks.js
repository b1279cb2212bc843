// Clocks count on while a page stays open; without this script they say until when they run.
"use strict";

(() => {
  const clocks = [...document.querySelectorAll("[data-ends]")];
  if (!clocks.length) return;
  const space = "\u202f";

  const duration = (minutes) => {
    const whole = Math.ceil(minutes);
    const days = Math.floor(whole / 1440);
    const hours = Math.floor((whole % 1440) / 60);
    if (days) return `${days}${space}${days === 1 ? "day" : "days"}${hours ? ` ${hours}${space}h` : ""}`;
    if (hours) return `${hours}${space}h ${String(whole % 60).padStart(2, "0")}${space}min`;
    return `${whole}${space}min`;
  };

  const count = () => {
    for (const clock of clocks) {
      const left = (Date.parse(clock.dataset.ends) - Date.now()) / 60000;
      const shown = clock.querySelector("[data-left]");
      if (!shown) continue;
      if (left > 0) {
        shown.textContent = duration(left);
        continue;
      }
      const ended = new Date(clock.dataset.ends);
      const at = ended.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
      shown.parentElement.textContent = `over since ${at}`;
      clock.classList.add("clock-over");
      clock.querySelector(".clock-then").hidden = false;
    }
  };

  count();
  setInterval(count, 5000);
  // A tablet that slept shows the truth as soon as it is looked at.
  document.addEventListener("visibilitychange", count);
})();
