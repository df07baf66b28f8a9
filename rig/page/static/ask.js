// Asking the page's server; what it refuses comes as an error with its line and all it told.

export class Refused extends Error {
  constructor(status, told) {
    super(told.told ?? `the page's server refused (${status})`);
    this.status = status;
    this.more = told;
  }
}

async function told(answer) {
  const text = await answer.text();
  let body;
  try {
    body = JSON.parse(text);
  } catch {
    body = { told: text.trim() || answer.statusText };
  }
  if (!answer.ok) throw new Refused(answer.status, body);
  return body;
}

export const ask = async (address) => told(await fetch(address));

export const send = async (address, body) => told(await fetch(address, {
  method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
}));
