"""The mornings of the demo season: weather, ground, and how each record was kept.  All invented."""

from __future__ import annotations

from lineproof.simulate.morning import Morning, Slip

MORNINGS: dict[str, Morning] = {
    "01-lantern-5k": Morning(weather="dry, cold", surface="paving"),
    "02-quillbeck-10k": Morning(
        weather="dry",
        surface="asphalt",
        file="setup.csv",
        delimiter=";",
        decimal=",",
        slips=(Slip("common-main", "role", "backup"), Slip("common-backup", "role", "main")),
    ),
    "03-weir-10-mile": Morning(
        weather="rain",
        surface="asphalt",
        slips=(Slip("ford-backup", "hand_floor_cm", 170, 2), Slip("ford-backup", "hand_ceiling_cm", 40, 2)),
    ),
    "04-valley-half": Morning(
        weather="dry, wind", surface="asphalt", slips=(Slip("km10-main", "mat", "M99", 3),)
    ),
    "05-three-laps": Morning(weather="dry, warm", surface="gravel", file="setup.csv"),
    "06-fennick-skyline": Morning(
        weather="showers", surface="grass", file="setup.csv", closed=False, lost=("quarry-main",)
    ),
    "07-kestrin-marathon": Morning(
        weather="dry",
        surface="asphalt",
        slips=tuple(
            Slip("km10-backup", column, inches, slot)
            for slot, heights in enumerate(((14, 74), (16, 75), (12, 72), (18, 76)), start=1)
            for column, inches in zip(("hand_floor_cm", "hand_ceiling_cm"), heights, strict=True)
        ),
    ),
    "08-harvest-runs": Morning(weather="dry, fog early", surface="grass", file="setup.csv", delimiter=";"),
    "09-long-night": Morning(weather="dry, frost", surface="earth", closed=False),
}
