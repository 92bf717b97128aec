// The picture of the train: a tap opens the cartridge, and what was chosen there stands in the picture and at the task.

import { say } from "./words.js";

const SAID = { replace: "is-replaced", rotate: "is-rotated", good: "is-good", misfit: "is-misfit", wrong: "is-wrong" };

const placeOf = (position) => document.getElementById(`position-${position}`);

/** What was chosen at a position; empty where nothing was. */
export const choiceAt = (position) => placeOf(position)?.querySelector(`input[name="at-${position}"]:checked`)?.value ?? "";

export const fieldAt = (position, name) => placeOf(position).querySelector(`[name="${name}-${position}"]`);

/** Show in the picture, at the tasks and in the fields what is chosen at every cartridge. */
export function showChoices() {
  for (const place of document.querySelectorAll(".position")) {
    const { position } = place.dataset;
    const choice = choiceAt(position);
    for (const part of place.querySelectorAll(".for")) part.hidden = !part.dataset.for.split(" ").includes(choice);
    for (const link of document.querySelectorAll(`a[data-position="${position}"]`)) {
      const chosen = link.querySelector(".chosen") ?? link.parentElement.querySelector(".chosen");
      if (chosen) chosen.textContent = choice ? say(SAID[choice]) : "";
      link.classList.toggle("is-chosen", choice !== "");
    }
  }
}

export function begin(form) {
  for (const link of document.querySelectorAll("a[data-position]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const place = placeOf(link.dataset.position);
      place.open = true;
      place.scrollIntoView({ block: "start" });
      place.querySelector("summary").focus({ preventScroll: true });
    });
  }
  form.addEventListener("change", showChoices);
  showChoices();
}
