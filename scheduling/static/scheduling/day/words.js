// What the scripts say stands in the page, where it is translated: <template id="words"><p data-word="away">...</p>.

const plural = new Intl.PluralRules(document.documentElement.lang || "en");

function find(name) {
  return document.getElementById("words").content.querySelector(`[data-word="${name}"]`);
}

/** A sentence with its facts; with the fact `count`, the form for that number where the page has several. */
export function say(name, facts = {}) {
  const node = ("count" in facts && find(`${name}-${plural.select(facts.count)}`)) || find(name);
  const text = (node?.textContent ?? name).trim().replace(/\s+/g, " ");
  return text.replace(/\{(\w+)\}/g, (whole, fact) => (fact in facts ? String(facts[fact]) : whole));
}

/** A copy of a template of the page. */
export const copyOf = (id) => document.getElementById(id).content.firstElementChild.cloneNode(true);

/** The place in a copy that is called so. */
export const slot = (node, name) => node.querySelector(`[data-slot="${name}"]`);

const clock = new Intl.DateTimeFormat([document.documentElement.lang || "en", "en-GB"][0], {
  hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZone: document.getElementById("my-day")?.dataset.zone,
});

/** Hours and minutes of a moment on the clock by which the page tells its own, whatever the phone's is set to. */
export const hour = (moment) => clock.format(new Date(moment));
