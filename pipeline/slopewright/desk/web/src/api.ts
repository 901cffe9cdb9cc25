// Talking to the server of this page: JSON in and out, its refusals as errors that name a field.

export class Refusal extends Error {
  constructor(
    text: string,
    readonly status: number,
    readonly field = "",
    readonly received: number | null = null,
  ) {
    super(text);
  }
}

const MOST_KEPT = 30_000; // characters; browsers keep 64 kB alive

export async function ask<T>(method: string, path: string, body?: unknown): Promise<T> {
  const json = body !== undefined && !(body instanceof Blob);
  const sent = json ? JSON.stringify(body) : (body as Blob | undefined);
  const answer = await fetch(`/api${path}`, {
    method,
    body: sent,
    keepalive: typeof sent === "string" && sent.length < MOST_KEPT, // arrives though the page is closed
    headers: json ? { "Content-Type": "application/json" } : {},
  });
  if (answer.ok) return (await answer.json()) as T;
  throw await refusal(answer);
}

async function refusal(answer: Response): Promise<Refusal> {
  const text = await answer.text();
  try {
    const said = JSON.parse(text);
    return new Refusal(String(said.text ?? text), answer.status, said.field ?? "", said.received ?? null);
  } catch {
    return new Refusal(text.trim() || `the server said ${answer.status}`, answer.status);
  }
}

export const path = (...parts: string[]) => "/" + parts.map(encodeURIComponent).join("/");
