/** The conditions of a day: grip, tyres, fuel and air. */
import { parts } from "../house/address";
import { desk } from "../house/desk";
import type { Group } from "../parts/keys/form";
import { KeysPage } from "../parts/keys/page";
import { scaleOf, shown } from "../parts/keys/scale";
import "../style/car.css";

const STANDARD_KGPM3 = 1.225; // ISO 2533, sea level

function groups(): Group[] {
  const air = scaleOf("kg/m3", null);
  return [
    { title: "Grip", takes: (key) => key === "name" || key === "grip_scale", intro: "Puddles and glazed pads are not in the model." },
    { title: "Tyres", takes: (key) => key.startsWith("tyre_"), intro: "Only where they differ from the tyres of the car file." },
    { title: "Fuel", takes: (key) => key === "fuel_kg" },
    {
      title: "Air",
      takes: (key) => /^(air|temperature|pressure)_/.test(key),
      intro: `Either its density, or temperature and pressure, which are saved as soon as both are there. With none of them it is ${shown(STANDARD_KGPM3, air).toPrecision(4)} ${air.unit}, the standard at sea level.`,
    },
  ];
}

const NAMES: Record<string, string> = {
  name: "Name",
  grip_scale: "Grip",
  tyre_front_frac: "Front tyres",
  tyre_rear_frac: "Rear tyres",
  fuel_kg: "Fuel aboard",
  air_density_kgpm3: "Density",
  temperature_C: "Temperature",
  pressure_hPa: "Pressure",
};

export function ConditionsPage() {
  const reference = parts()[1] ? `conditions/${parts()[1]}` : desk.value.conditions;
  return (
    <KeysPage
      key={reference}
      kind="conditions"
      id={reference.slice("conditions/".length)}
      place="conditions"
      one="these conditions"
      intro="Empty a field to leave it to the car file, or to what is usual."
      groups={groups()}
      names={NAMES}
    >
      What is different about a day; the car and the driver stay what they are.
    </KeysPage>
  );
}
