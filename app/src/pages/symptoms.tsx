export function Symptoms() {
  return <h1>symptoms</h1>;
}
