// @ts-check
/** Small help with the document for the pages of the walk. */

/** @param {string} id @returns {any} the element, which the page has */
export const byId = (id) => document.getElementById(id);

/** A fresh copy of a template's only element. @param {string} id @returns {any} */
export const copyOf = (id) => byId(id).content.firstElementChild.cloneNode(true);

/** The part of an element that is named so. @param {any} within @param {string} name @returns {any} */
export const part = (within, name) => within.querySelector(`[data-part="${name}"]`);

/** Write words where others stand. @param {any} place @param {string} words */
export function text(place, words) {
  if (place.textContent !== words) place.textContent = words;
}

/** Write words into a part; hide it when there are none. @param {any} within @param {string} name @param {string} words */
export function write(within, name, words) {
  const found = part(within, name);
  text(found, words);
  found.hidden = !words;
}

/** The value of the chosen radio button, or nothing. @param {any} form @param {string} name */
export const chosen = (form, name) => form.elements.namedItem(name)?.value ?? "";

/** Choose a radio button, or none. @param {HTMLFormElement} form @param {string} name @param {string} value */
export function choose(form, name, value) {
  for (const radio of form.querySelectorAll(`input[name="${name}"]`)) {
    /** @type {HTMLInputElement} */ (radio).checked =
      /** @type {HTMLInputElement} */ (radio).value === value;
  }
}

/**
 * Everything in a form by name: text, chosen values, true or false for a lone box, a list for boxes
 * of one name.
 * @param {HTMLFormElement} form @returns {Record<string, any>}
 */
export function valuesOf(form) {
  /** @type {Record<string, any>} */
  const values = {};
  for (const field of /** @type {any} */ (form.elements)) {
    if (!field.name || field.type === "file" || field.type === "submit") continue;
    if (field.type === "checkbox" && "many" in field.dataset) {
      values[field.name] ??= [];
      if (field.checked) values[field.name].push(field.value);
    } else if (field.type === "checkbox") {
      values[field.name] = field.checked;
    } else if (field.type === "radio") {
      values[field.name] ??= "";
      if (field.checked) values[field.name] = field.value;
    } else {
      values[field.name] = field.value;
    }
  }
  return values;
}

/** Put values into a form; what is not named stays. @param {HTMLFormElement} form @param {Record<string, any>} values */
export function fill(form, values) {
  for (const field of /** @type {any} */ (form.elements)) {
    if (!field.name || !(field.name in values) || field.type === "file") continue;
    const value = values[field.name];
    if (field.type === "checkbox") {
      field.checked = Array.isArray(value) ? value.includes(field.value) : Boolean(value);
    } else if (field.type === "radio") {
      field.checked = field.value === String(value ?? "");
    } else {
      field.value = value ?? "";
    }
  }
}

/**
 * Say what is wrong with a form: beside each field and in a summary on top that gets the focus.
 * @param {HTMLFormElement} form @param {[string, string][]} faults field and sentence
 */
export function showFaults(form, faults) {
  for (const old of form.querySelectorAll(".field-error")) old.remove();
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  const summary = part(form, "faults");
  summary.hidden = !faults.length;
  const list = summary.querySelector("ul");
  list.replaceChildren();
  for (const [name, sentence] of faults) {
    const field = /** @type {any} */ (
      form.querySelector(`[name="${name}"]`) ?? form.querySelector(`[data-field="${name}"]`)
    );
    const line = document.createElement("li");
    const link = document.createElement("a");
    link.href = "#";
    link.textContent = sentence;
    link.addEventListener("click", (event) => {
      event.preventDefault();
      (field?.closest("fieldset, .field, details") ?? field)?.scrollIntoView({ block: "center" });
      field?.focus({ preventScroll: true });
    });
    line.append(link);
    list.append(line);
    if (field) {
      field.setAttribute("aria-invalid", "true");
      const beside = document.createElement("p");
      beside.className = "field-error";
      beside.textContent = sentence;
      (field.closest("fieldset") ?? field.closest(".field") ?? field.parentElement)?.append(beside);
      field.closest("details")?.setAttribute("open", "");
    }
  }
  if (faults.length) summary.focus();
}

/** What stays wrong by the fields' own rules, as [name, sentence]. @param {HTMLFormElement} form @returns {[string, string][]} */
export function faultsOf(form) {
  /** @type {Map<string, string>} */
  const found = new Map();
  for (const field of /** @type {any} */ (form.elements)) {
    if (!field.name || !field.willValidate || field.validity.valid || found.has(field.name)) continue;
    found.set(field.name, field.dataset.fault ?? field.validationMessage);
  }
  return [...found];
}
