// Gauges: what was typed, as a reading, and what it would mean before anybody has to wait for it.

import { csrfToken } from "./outbox.js";
import { say } from "./words.js";

const WAIT_MS = 700;
const NUMBER = /^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/;

/** The values that were typed before ("found") or after ("left") the work at a unit, by name, and what is no number. */
function valuesAt(section, prefix) {
  const values = {};
  const faults = [];
  for (const gauge of section.querySelectorAll(".gauge")) {
    const field = gauge.querySelector("input");
    const text = field.value.trim().replace("−", "-");
    field.removeAttribute("aria-invalid");
    if (!text || !field.name.startsWith(`${prefix}-`)) continue;
    if (NUMBER.test(text)) {
      values[gauge.dataset.gauge] = { value: text.replace(",", "."), unit: gauge.querySelector("select").value };
    } else {
      field.setAttribute("aria-invalid", "true");
      faults.push({ field, sentence: say("not-a-number", { gauge: gauge.querySelector("label").textContent, value: text }) });
    }
  }
  return { values, faults };
}

const seenAt = (section) => Object.fromEntries(
  [...section.querySelectorAll(`input[name^="seen-"]:checked`)].map((box) => [box.name.split("-").slice(2).join("-"), true]),
);

/** The readings of one unit as the interface takes them, and what is at fault. `foundAt` is when the first was typed. */
export function readingsAt(section, foundAt) {
  const unit = Number(section.dataset.unit);
  const found = valuesAt(section, "found");
  const left = valuesAt(section, "left");
  const seen = seenAt(section);
  const common = { unit };
  const meter = section.querySelector(`[name="meter-${unit}"]`).value;
  if (meter) common.instrument = meter;
  const readings = [];
  if (Object.keys(found.values).length || Object.keys(seen).length) {
    const body = { ...common, ...found.values, occasion: "as_found" };
    if (foundAt) body.taken_at = foundAt;
    if (Object.keys(seen).length) body.observations = seen;
    if (section.querySelector(`[name="flushed-${unit}"]`).checked) body.sampled_after_flush = true;
    readings.push(body);
  }
  if (Object.keys(left.values).length) readings.push({ ...common, ...left.values, occasion: "as_left" });
  return { readings, faults: [...found.faults, ...left.faults] };
}

/** Say what the values of a unit would mean whenever one changes; nothing is stored by it. */
export function judgeWhileTyping(section) {
  let timer = 0;
  let asked = null;
  let typedIn = null;
  const place = section.querySelector(".judged");
  // Beside the gauge that was typed last; the whole of it stands below the gauges.
  const beside = document.createElement("p");
  beside.className = "means";
  const judge = async () => {
    asked?.abort();
    asked = new AbortController();
    const { values, faults } = valuesAt(section, "found");
    const facts = seenAt(section);
    beside.remove();
    // What is no number is said at once, where it was typed: it is part of no judgement.
    const unread = faults.find((fault) => fault.field === typedIn?.querySelector("input"));
    if (unread) {
      beside.replaceChildren(unread.sentence);
      typedIn.append(beside);
    }
    if (!Object.keys(values).length && !Object.keys(facts).length) {
      place.hidden = true;
      return;
    }
    place.hidden = false;
    if (!navigator.onLine) {
      place.textContent = say("judged-later");
      return;
    }
    const reading = { ...values };
    if (section.querySelector(`[name^="flushed-"]`).checked) reading.sampled_after_flush = "yes";
    try {
      const signal = AbortSignal.any ? AbortSignal.any([asked.signal, AbortSignal.timeout(15000)]) : asked.signal;
      const response = await fetch("/api/v1/diagnosis/", {
        method: "POST", signal,
        headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrfToken() },
        body: JSON.stringify({ unit: Number(section.dataset.unit), reading, facts }),
      });
      const answer = await response.json();
      place.replaceChildren(...(response.ok ? meaning(answer) : notJudged(answer)));
      const titles = response.ok ? answer.matches.map((match) => match.title) : [say("cannot-be")];
      if (titles.length && typedIn && !unread) {
        const link = document.createElement("a");
        link.href = `#${place.id}`;
        link.textContent = say("see-below", { titles: titles.join(", ") });
        beside.replaceChildren(link);
        typedIn.append(beside);
      }
    } catch (error) {
      if (error.name !== "AbortError") place.textContent = say("judged-later");
    }
  };
  section.addEventListener("input", (event) => {
    if (!/^(found|seen|flushed)-/.test(event.target.name ?? "")) return;
    typedIn = event.target.closest(".gauge");
    clearTimeout(timer);
    timer = setTimeout(judge, WAIT_MS);
  });
  return judge;
}

const line = (text, strong = "", className = "") => {
  const node = document.createElement("p");
  if (className) node.className = className;
  if (strong) {
    const head = document.createElement("strong");
    head.textContent = `${strong} `;
    node.append(head);
  }
  node.append(text);
  return node;
};

function meaning(answer) {
  const said = answer.doubts.map((doubt) => line(doubt.sentence, say("doubtful")));
  for (const match of answer.matches) {
    const title = document.createElement("h4");
    title.textContent = match.title;
    said.push(title, line(match.installer_sentence), line(match.confirming_check, say("make-sure")), line(match.action, say("do")));
    if (match.caution) said.push(line(match.caution, say("take-care"), "caution"));
  }
  if (!said.length) said.push(line(say("judged-fine")));
  said.push(line(answer.note, "", "soft"));
  return said;
}

function notJudged(problem) {
  const faults = (problem.errors ?? []).map((fault) => fault.detail);
  return [line(say("judged-not")), ...(faults.length ? faults : [problem.detail ?? ""]).map((text) => line(text))];
}
