// The passphrase can be shown while it is typed; without this the field works as it is.
for (const field of document.querySelectorAll("input[data-show]")) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  const show = (shown) => {
    field.type = shown ? "text" : "password";
    button.textContent = shown ? field.dataset.hide : field.dataset.show;
  };
  show(false);
  field.after(button);
  button.addEventListener("click", () => { show(field.type === "password"); field.focus(); });
  // hidden again when it is sent, or a browser would keep it among the texts it suggests
  field.form.addEventListener("submit", () => show(false));
}
