// Passkeys: asks the register what to sign, has the browser show or make a passkey, and sends the answer as a form.
// A form says by data-passkey whether one is shown ("get") or made ("create"), by data-ask where to ask.

const bytes = (text) =>
  Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (sign) => sign.charCodeAt(0));

const text = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replace(/\+/g, "-")
    .replace(/\//g, "_")
    .replace(/=+$/, "");

function readable(options) {
  const listed = (name) =>
    options[name]?.map((each) => ({ ...each, id: bytes(each.id) })) ?? undefined;
  return {
    ...options,
    challenge: bytes(options.challenge),
    user: options.user && { ...options.user, id: bytes(options.user.id) },
    excludeCredentials: listed("excludeCredentials"),
    allowCredentials: listed("allowCredentials"),
  };
}

function sendable(credential) {
  const response = { clientDataJSON: text(credential.response.clientDataJSON) };
  for (const name of ["attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (credential.response[name]) response[name] = text(credential.response[name]);
  }
  return JSON.stringify({
    id: credential.id,
    rawId: text(credential.rawId),
    type: credential.type,
    response,
    clientExtensionResults: credential.getClientExtensionResults(),
  });
}

async function shown(form) {
  const asked = await fetch(form.dataset.ask, { method: "POST", headers: { Accept: "application/json" } });
  if (!asked.ok) throw new Error("not asked");
  const { challenge, options } = await asked.json();
  const publicKey = readable(options);
  const credential =
    form.dataset.passkey === "create"
      ? await navigator.credentials.create({ publicKey })
      : await navigator.credentials.get({ publicKey });
  form.elements.challenge.value = challenge;
  form.elements.answer.value = sendable(credential);
}

function says(form, sentence) {
  const place = form.querySelector("[data-passkey-problem]");
  place.textContent = sentence;
  place.hidden = !sentence;
}

for (const form of document.querySelectorAll("form[data-passkey]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    says(form, "");
    if (!window.PublicKeyCredential) {
      says(form, "This browser knows no passkeys here. They need HTTPS, or this very machine.");
      return;
    }
    try {
      await shown(form);
    } catch (wrong) {
      const twice = wrong.name === "InvalidStateError";
      says(form, twice ? "This device has a passkey for the register already." : "No passkey was shown. Try again, or go on without one.");
      return;
    }
    form.submit();
  });
}
