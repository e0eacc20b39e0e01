// The title of an action that the page suggests: one that nobody touched follows what is found, and goes where a reason
// is given why no action is needed. The hidden box holds what was suggested; a title that differs from it was typed.

export function suggest(form, words) {
  form.elements.action_title.value = words;
  form.elements.action_suggested.value = words;
}

export function follow(form, words) {
  const { action_title: title, action_suggested: suggested, no_action_reason: reason } = form.elements;
  if (!title.value || title.value !== suggested.value) return;
  suggest(form, reason?.value.trim() ? "" : words);
}
