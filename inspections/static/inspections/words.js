// The words of a script in the person's language. The catalogue is a script of the site (/round/words.js) that stands
// before this one and is kept on the phone with the page; without it the words stay as they are written here. The names
// are those that makemessages looks for, so every sentence stands whole in a call, with %(names)s for what is filled
// in.

const catalogue = globalThis.django;

export function _(text, values = {}) {
  return filled(catalogue?.gettext ? catalogue.gettext(text) : text, values);
}

export function ngettext(one, many, n, values = {}) {
  const text = catalogue?.ngettext ? catalogue.ngettext(one, many, n) : n === 1 ? one : many;
  return filled(text, { n, ...values });
}

function filled(text, values) {
  return text.replace(/%\((\w+)\)s/g, (all, name) => (name in values ? String(values[name]) : all));
}
