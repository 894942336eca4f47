export function ZonePage() {
  return <h1>zone</h1>;
}
