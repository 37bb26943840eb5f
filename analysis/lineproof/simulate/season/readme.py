"""The README of the demo season, written beside it."""

README = """# The demo season

A year of races in the vale of the Kestrin, timed by one crew.  **Vale, towns, races and people are invented**, and no
company stands behind any of it.  The season is written from one seed by `lineproof.simulate`: the same seed
writes the same files.

| event | what it is | exports |
| --- | --- | --- |
| 01-lantern-5k | evening 5 km, small, dry, nothing went wrong | raw reads, CSV, times with offset |
| 02-quillbeck-10k | spring 10 km in two waves; one reader an hour behind, tags doubled, swapped, left by a line | passings per line, CSV with semicolons and decimal commas, local clock |
| 03-weir-10-mile | ten miles in rain; power cuts, tags that wake late or die | raw reads, Parquet, field names of the open reader protocol, microseconds since 1970 |
| 04-valley-half | the large half marathon, five waves; cut course, lifts by car, false starts | merged passing data with the reader that gave each time, CSV, time of day |
| 05-three-laps | summer evening on a looped course, nothing went wrong | raw reads, one CSV for each reader, time of day |
| 06-fennick-skyline | mountain trail, eight points, two tags on everybody; one reader an hour behind | passings per line, TSV, day before month |
| 07-kestrin-marathon | marathon with racing wheelchairs and handcycles; starts filled in, times typed in | wide results table, Excel, two title rows, time-of-day cells |
| 08-harvest-runs | 10 km and 5 km with a common finish, nothing went wrong | merged passing data without a line, TSV; wide results table, CSV, elapsed times, `NA` |
| 09-long-night | night trail while the clocks go back, nothing else went wrong | raw reads, Parquet, milliseconds since 1970; passings per line, CSV with offset |
| 10- to 17-canal-evening | eight small evening runs, the same points each week, tags that are given out again; pouring rain on the fourth; the gutter at the finish costs whatever mat lies in it | passings per line, CSV, local clock |

| unfamiliar/owl-night | night trail through the same hour that comes twice; misses everywhere, a weak line, a car | no description: passings per line, headers in another language, semicolons, decimal commas, local clock, two files for each line |

"Nothing went wrong" means: ordinary weak tags, drop-outs and unread crossings, but no planted fault.

## In an event folder

- `event.toml`: date, zone, courses with their points in order, waves, lines, and how to read each export.
- `entries.*`: `Bib` (text, with leading zeros), `Tag` (its id), `Wave`, `Race` where there are two courses, `Class` (foot, wheel,
  handcycle), `Sex` (f, m), `Age` in years, `Tag type` (bib, shoe), `Batch` of the single-use tags.  Somebody with two tags has two rows.
- `exports/`: as the readers, or a program behind them, gave them.
  - raw reads: tag, reader, time, antenna (port, 1 at the near side of the road), signal strength in dBm;
  - passings per line: tag, reader, time of the first, strongest and last read, number of reads, best antenna and its signal;
  - merged passing data: bib, place, time, and at times the reader that gave it;
  - wide results table: one row for each runner, one column of times for each place; `-`, `NA` or nothing where there is none.

- `setup.xlsx` or `setup.csv`: the set-up record, what was really laid: per line reader, clock, widths, power, times; per slot mat, cable,
  port and the heights of the hand test.  As in real life a few facts are missing, and five records hold a slip or differ from the plan.

Above the events lies `equipment.csv`, the register: every mat, cable, reader, antenna and power unit with what it cost and when.

Readers are known in the exports by their number (`R01` to `R14`); `event.toml` says which line each served that day.

`unfamiliar/owl-night` has no `event.toml` and no set-up record: it is there to be drafted with `lineproof new` (its course is 21 km, the hut
lies at 7.5 km and the dam at 14 km, the gun was at 23:30).

## `truth/`: for tests only

No part of the analysis reads this folder.

- `<event>.json`: `clean`, `entries`, `reads`, `rates` (the realised share read of true crossings by line, point and
  segment), `faults` (every planted fault: kind, runner, tag, place, when; for a fault made in an export its file, row and column;
  times in UTC, those of a read as the true clock had them), `poor_tags` (weak or silent).
- `<event>.parquet`: one row for each entry and visit: `runner`, `carried_by` (who had the runner's tags on), `course`, `wave`,
  `point`, `order`, `visit`, `at_m`, `crossed`, `time` (over the main line), `read_main`, `read_backup` (null: no such line).
- `<event>-setup.csv`: what was left out of the set-up record or written wrongly: `line`, `slot`, `column`, `true`, `written`.
- `equipment.csv`: which mat, cable and reader lay in which slot, and `loss`: what mat and cable cost in read chance (logit; 1000: dead).

## Cautions

Nobody here exists, but files of this kind hold personal data when they are real: names are not needed, ages and sexes are
there for pace bounds only, and local privacy law decides what may be kept.  The rates are those of a simulation; no equipment on
the market was measured.
"""
