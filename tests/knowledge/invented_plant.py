"""An entry and a rule of an invented plant, to be changed and broken by the tests beside it."""

# An invented plant of the Sallow Bridge community nursery. No trait of it is true of any plant.
PLANT = """\
name: Sallowia pontis
rank: species
family: Fabaceae
synonyms: [Sallowia vetus]
common_names: [sallow bridge pea]
traits:
  dormancy_class:
    - {is: physical, held: practice}
  seeds_per_gram:
    - {low: 100, high: 120, held: practice}
protocols:
  - id: scald
    source: fao-1992
    held: memory
    design: advice
    phases:
      - {kind: hot_water, way: poured, temperature_c: {low: 80, high: 85}}
      - {kind: sow, temperature_c: {day: 20, night: 10}}
"""
PLANT_PATH = "species/sallowia/sallowia-pontis.yaml"

RULE = """\
id: bridge-rule
status: draft
date: '2026-12-01'
phase: obstacles
when:
  - {coat_water: stops}
then:
  - {obstacle: watertight_coat}
because: {why: "The coat of {name} is tight.", what: "Open it.", ground: "No water enters."}
limits: [Seed that was never dried may be open already.]
sources: [{held: practice, says: "Common practice."}]
examples:
  fires: [{species: Hovenia dulcis, source: yang-2022-acid, saw: water enters only after acid}]
  silent: [{species: Berchemia scandens, source: walck-2012-berchemia, saw: its stone takes up water}]
"""
RULE_PATH = "rules/bridge-rule.yaml"
