// Sets the light before anything is drawn, so that a dark room stays dark, and asks the first question
// while the other scripts are on their way.
// Must never do more than that. Loaded in the page's head.
"use strict";
(function () {
  let light = "dark";
  try {
    light = localStorage.getItem("light") || light;
  } catch (refused) {
    light = "dark"; // a browser that keeps nothing gets the dark
  }
  if (light !== "dark" && light !== "red" && light !== "day") light = "dark";
  document.documentElement.dataset.light = light;
  document.querySelector("meta[name=color-scheme]").content = light === "day" ? "light" : "dark";
  window.firstAnswer = fetch("/api/self", { credentials: "same-origin" }).catch(() => null);
})();
