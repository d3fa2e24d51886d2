// @ts-check
/** Says in words when a passkey or security key could not be used; the library only logs it. */

const WORDS = {
  NotAllowedError: "The key was not used: it was turned down, or nothing happened for too long. Try again.",
  InvalidStateError: "This key is in your list already.",
  SecurityError: "Keys work only at the address that they were made for, over a secure line.",
};

document.addEventListener("allauth.error", (event) => {
  const place = document.querySelector("[data-key-error]");
  if (!(event instanceof CustomEvent) || !(place instanceof HTMLElement)) return;
  event.preventDefault();
  const name = event.detail?.exception?.name ?? "";
  place.textContent = WORDS[name] ?? "The key could not be used on this device. Sign in another way.";
  place.hidden = false;
});
