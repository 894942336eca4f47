export function PlanPage() {
  return <h1>plan</h1>;
}
