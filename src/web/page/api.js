// Asking the server. Every trouble comes back as a sentence and a hint, ready to be shown.

/** Something that could not be done: what, and what to do about it. */
export class Trouble extends Error {
  constructor(message, hint, status = 0, body = null) {
    super(message);
    this.hint = hint;
    this.status = status;
    this.body = body;
  }
}

const SILENT = ["The program behind this page doesn't answer.",
  "Start tragus again in its terminal window, and open the address that it prints."];
const UNCLEAR = ["That could not be done.", "Reload the page. If it happens again, start tragus again."];

async function ask(method, path, { json, bytes, name, signal } = {}) {
  const headers = {};
  if (json !== undefined) headers["Content-Type"] = "application/json";
  if (bytes) headers["Content-Type"] = bytes.type || "application/octet-stream";
  if (name) headers["X-File-Name"] = encodeURIComponent(name);
  let answer;
  try {
    answer = await fetch(path, {
      method, headers, signal, body: bytes ?? (json === undefined ? undefined : JSON.stringify(json)),
    });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Trouble(...SILENT);
  }
  if (answer.status === 204) return null;
  const body = await answer.json().catch(() => null);
  if (answer.ok && body) return body;
  throw new Trouble(body?.error ?? UNCLEAR[0], body?.hint ?? UNCLEAR[1], answer.status, body);
}

/** Whether a page of the server is there, without fetching it. */
export async function isThere(path) {
  const answer = await fetch(path, { method: "HEAD" }).catch(() => {
    throw new Trouble(...SILENT);
  });
  return answer.ok;
}

export const get = (path, options) => ask("GET", path, options);
export const post = (path, json) => ask("POST", path, { json });
export const put = (path, json) => ask("PUT", path, { json });
export const remove = (path) => ask("DELETE", path);

/** Sends a photo as it is. */
export const sendPhoto = (path, bytes, name, signal) => ask("POST", path, { bytes, name, signal });

/** Who the page is for, and the cautions; another window may have changed them, so asked each time. */
export const homeFacts = () => get("/api/home");

/** Keeps who the person is, unless another window changed what this one showed. */
export const keepPerson = (to, from) => put("/api/home/person", { to, from });
