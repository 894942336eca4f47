export function Show() {
  return <h1>show</h1>;
}
