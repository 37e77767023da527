/** The one place that practice asks the helm at. A refusal is a sentence, thrown. */
export class Refused extends Error {}

export async function ask<T>(asking: { readonly do: string; readonly [key: string]: unknown }): Promise<T> {
  let response: Response;
  try {
    response = await fetch(new URL("practice/ask", document.baseURI), {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(asking),
    });
  } catch {
    throw new Refused("The link to the helm is lost. Nothing was marked.");
  }
  const body: unknown = await response.json().catch(() => null);
  if (response.ok && body !== null) return body as T;
  throw new Refused(typeof body === "object" && body !== null && "problem" in body ? sentence(String(body.problem)) : `The helm answered ${response.status}.`);
}

/** One look, row by row, as receiver counts. */
export async function fetchLook(id: string, look: number, length: number): Promise<Uint8Array> {
  let response: Response;
  try {
    response = await fetch(new URL(`practice/look/${encodeURIComponent(id)}/${look}`, document.baseURI));
  } catch {
    throw new Refused("The link to the helm is lost: the picture did not come.");
  }
  if (!response.ok) throw new Refused("The picture did not come.");
  const counts = new Uint8Array(await response.arrayBuffer());
  if (counts.length !== length) throw new Refused("The picture came damaged.");
  return counts;
}

function sentence(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1) + (text.endsWith(".") ? "" : ".");
}
