export function CircuitPage() {
  return <h1>circuit</h1>;
}
