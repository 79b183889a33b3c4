// The light of the page and its sound, each with a switch.
// Must never make a sound that was not asked for. Used by main.js.

import { at, button, make, recall, remember } from "./dom.js";
import { tell } from "./store.js";

const LIGHTS = [["dark", "Dark"], ["red", "Red"], ["day", "Day"]];
const QUIET = 0.05; // of full scale
let sound = null; // the audio context, once it was asked for

function setLight(light) {
  document.documentElement.dataset.light = light;
  document.querySelector("meta[name=color-scheme]").content = light === "day" ? "light" : "dark";
  remember("light", light);
  for (const one of at("lights").children) {
    one.setAttribute("aria-pressed", String(one.dataset.choice === light));
  }
  tell("light");
}

function tone(hertz, from, seconds) {
  const voice = sound.createOscillator();
  const loudness = sound.createGain();
  const begin = sound.currentTime + from;
  voice.frequency.value = hertz;
  loudness.gain.setValueAtTime(0, begin);
  loudness.gain.linearRampToValueAtTime(QUIET, begin + 0.15);
  loudness.gain.linearRampToValueAtTime(0, begin + seconds);
  voice.connect(loudness).connect(sound.destination);
  voice.start(begin);
  voice.stop(begin + seconds);
}

// Two soft tones, the second higher: an alert.
export function soundAlert() {
  if (!sound) return;
  tone(262, 0, 0.5);
  tone(330, 0.35, 0.7);
}

function setSound(on) {
  const shown = at("sound");
  sound = on ? new AudioContext() : null;
  shown.setAttribute("aria-pressed", String(on));
  shown.textContent = on ? "Sound on" : "Sound off";
  if (on) tone(262, 0, 0.4);
}

export function startLights() {
  const lights = make("div", { id: "lights", role: "group", "aria-label": "Light of the page" });
  for (const [light, text] of LIGHTS) {
    lights.append(button(text, () => setLight(light), { "data-choice": light }));
  }
  at("switches").append(lights);
  setLight(recall("light", "dark"));
}

export function startSound() {
  at("switches").append(button("Sound off", () => setSound(!sound), { id: "sound", "aria-pressed": "false" }));
}
