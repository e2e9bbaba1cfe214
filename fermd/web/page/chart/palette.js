// The page's colours as a canvas needs them.

export function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  const [ink, malt] = [of("ink"), of("malt")];
  return {
    ink, malt, paper: of("paper"), faint: of("faint"), rule: of("rule"), thin: of("thin"), band: of("band"),
    heat: of("heat"), cool: of("cool"), critical: of("critical"), air: of("cool"),
    airSpread: `${of("cool")}38`, beerSpread: `${ink}40`,
    font: `12px ${of("text")}`,
  };
}
