export function CarPage() {
  return <h1>car</h1>;
}
