import { render } from "preact";
import { House } from "./house/house";
import "./style/look.css";
import "./style/chart.css";
import "./style/road_map.css";

render(<House />, document.getElementById("house")!);
