/** The one place that the set-up asks the helm at. A refusal is a sentence, thrown. */
export class Refused extends Error {}

export type Asking = { readonly do: string; readonly [key: string]: unknown };

export async function ask<T>(asking: Asking): Promise<T> {
  let response: Response;
  try {
    response = await fetch(new URL("setup/ask", document.baseURI), {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(asking),
    });
  } catch {
    throw new Refused("The link to the helm is lost.");
  }
  const body: unknown = await response.json().catch(() => null);
  if (response.ok && body !== null) return body as T;
  const problem = typeof body === "object" && body !== null && "problem" in body ? String(body.problem) : `the helm answered ${response.status}`;
  throw new Refused(capital(problem));
}

export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
