export function ChecksPage() {
  return <p>Later.</p>;
}
