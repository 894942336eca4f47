/** Labelled inputs: the error stands by the field, and what was typed stays. */
import type { ComponentChildren, JSX } from "preact";
import { useId } from "preact/hooks";

interface Around {
  label: string;
  help?: string | undefined;
  wrong?: string | null | undefined;
  unit?: string | undefined;
}

/** A label, an input of ours, help and error; the input gets the ids that tie them together. */
export function Field(
  props: Around & { children: (tie: { id: string; "aria-describedby"?: string; "aria-invalid"?: "true" }) => ComponentChildren },
) {
  const id = useId();
  const about = [props.help && `${id}-help`, props.wrong && `${id}-wrong`].filter(Boolean).join(" ");
  return (
    <div class="field">
      <label for={id}>
        {props.label}
        {props.unit && <span class="unit">{props.unit}</span>}
      </label>
      {props.children({
        id,
        ...(about && { "aria-describedby": about }),
        ...(props.wrong && { "aria-invalid": "true" as const }),
      })}
      {props.help && <span class="help" id={`${id}-help`}>{props.help}</span>}
      {props.wrong && <span class="wrong" id={`${id}-wrong`} role="alert">{props.wrong}</span>}
    </div>
  );
}

interface TextProps extends Around {
  value: string;
  onInput: (typed: string) => void;
  onDone?: (typed: string) => void;
  placeholder?: string;
  size?: number;
  list?: string;
}

export function TextField(props: TextProps) {
  return <Typed {...props} />;
}

/** A number as typed: kept as text, so that "54." and "" survive; a decimal comma is understood. */
export function NumberField(props: TextProps) {
  return <Typed {...props} size={props.size ?? 8} more={{ inputMode: "decimal", autocomplete: "off", class: "number" }} />;
}

type InputMore = Pick<JSX.IntrinsicElements["input"], "inputMode" | "autocomplete" | "class">;

function Typed({ value, onInput, onDone, placeholder, size, list, more, ...around }: TextProps & { more?: InputMore }) {
  return (
    <Field {...around}>
      {(tie) => (
        <input
          {...tie}
          {...more}
          type="text"
          value={value}
          placeholder={placeholder}
          size={size}
          list={list}
          onInput={(event) => onInput(event.currentTarget.value)}
          onChange={(event) => onDone?.(event.currentTarget.value)}
        />
      )}
    </Field>
  );
}

/** The number in what was typed; null where there is none. */
export function numberOf(typed: string): number | null {
  const plain = typed.trim().replace("−", "-").replace(",", ".");
  if (!/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain)) return null;
  return Number(plain);
}

interface Option<V extends string> {
  value: V;
  label: string;
}

interface ChoiceProps<V extends string> extends Around {
  value: string;
  options: readonly Option<V>[];
  onPick: (value: V) => void;
}

/** One of a few, all in sight. */
export function Choices<V extends string>({ value, options, onPick, label, help, wrong }: ChoiceProps<V>) {
  const name = useId();
  return (
    <fieldset>
      <legend>{label}</legend>
      {help && <p class="soft">{help}</p>}
      <div class="choices">
        {options.map((one) => (
          <label key={one.value}>
            <input
              type="radio"
              name={name}
              value={one.value}
              checked={one.value === value}
              onChange={() => onPick(one.value)}
            />
            {one.label}
          </label>
        ))}
      </div>
      {wrong && <span class="wrong" role="alert">{wrong}</span>}
    </fieldset>
  );
}

/** One of many. */
export function Select<V extends string>({ value, options, onPick, ...around }: ChoiceProps<V>) {
  return (
    <Field {...around}>
      {(tie) => (
        <select {...tie} value={value} onChange={(event) => onPick(event.currentTarget.value as V)}>
          {options.map((one) => (
            <option key={one.value} value={one.value} selected={one.value === value}>
              {one.label}
            </option>
          ))}
        </select>
      )}
    </Field>
  );
}

interface SliderProps {
  label: string;
  value: number;
  min: number;
  max: number;
  step: number;
  /** The value in words, as "2 changes". */
  shown: string;
  /** While it moves, at every value. */
  onMove: (value: number) => void;
  /** When it rests: the value before the move, and the one it rests at. */
  onRest?: (before: number, now: number) => void;
  help?: string;
}

/** A slider that tells moving from resting. */
export function Slider(props: SliderProps) {
  const id = useId();
  return (
    <div class="slider">
      <label for={id}>{props.label}</label>
      <output for={id}>{props.shown}</output>
      <input
        id={id}
        type="range"
        min={props.min}
        max={props.max}
        step={props.step}
        value={props.value}
        aria-valuetext={props.shown}
        onFocus={(event) => (event.currentTarget.dataset.before = event.currentTarget.value)}
        onInput={(event) => props.onMove(Number(event.currentTarget.value))}
        onChange={(event) => {
          const at = event.currentTarget;
          const before = Number(at.dataset.before ?? at.value);
          at.dataset.before = at.value;
          props.onRest?.(before, Number(at.value));
        }}
      />
      {props.help && <small>{props.help}</small>}
    </div>
  );
}

export function Tick(props: { label: string; value: boolean; onPick: (value: boolean) => void }) {
  return (
    <label class="row">
      <input
        type="checkbox"
        checked={props.value}
        onChange={(event) => props.onPick(event.currentTarget.checked)}
      />
      {props.label}
    </label>
  );
}
