// A typed number that may mean several things stands with a button for each; pressing one types it.

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-way]");
  const echo = button?.closest(".echo");
  const box = echo && document.querySelector(`[hx-target="#${echo.id}"]`);
  if (!box) return;
  box.value = button.dataset.way;
  box.focus();
  box.dispatchEvent(new Event("input", { bubbles: true }));
});
