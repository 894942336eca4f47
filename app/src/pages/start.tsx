export function Start() {
  return <h1>start</h1>;
}
