"""How likely trees are to die of what: coefficients with unit, source and status.

Hazards are intensities over a phase of one year: a hazard of H alone kills a share of 1 - exp(-H). No published table
gives such coefficients by cause, so most are assumptions set to meet the few published totals: 1.0 % a year in mature
orchards, a little under half of it voles (Sullivan et al. 1980: read); establishment of 98 % with feathered trees and
down to 50 % with bench
grafts ([feathered_trees]: read); nearly 10 % of Gala on M.9 lost to
fire blight in five years at a blight-prone place ([press_fire_blight]: read).
"""

from __future__ import annotations

from dataclasses import dataclass

from orchardsim.core.parameters import parameter


@dataclass(frozen=True)
class Hazards:
    """Coefficients of the competing hazards; a plan may override any."""

    frailty: float = parameter(
        "1",
        "how much a tree of no health adds to its disease, cold and vole hazards (assumption)",
        low=0,
        high=5,
        default=1.0,
    )
    patchiness: float = parameter(
        "1",
        "standard deviation of the logarithm of hazards over the ground, smooth over some 65 ft (20 m; assumption); 0 "
        "spreads losses evenly",
        low=0,
        high=1.5,
        default=0.8,
    )

    transplant_delay: float = parameter(
        "1/day",
        "increase of transplant failure per day by which the first water comes later than two weeks (two weeks: "
        "read, [feathered_trees]; the slope is an assumption)",
        low=0,
        high=0.5,
        default=0.05,
    )
    transplant_drought: float = parameter(
        "1/day", "increase of transplant failure per day of severe drought (assumption)", low=0, high=0.5, default=0.02
    )
    transplant_gap: float = parameter(
        "1",
        "transplant hazard of a tree set among standing trees, relative to new ground (assumption)",
        low=0.2,
        high=10,
        default=1.5,
    )
    transplant_carry: float = parameter(
        "1",
        "share of the transplant hazard that strikes in the following winter (assumption)",
        low=0,
        high=1,
        default=0.15,
    )

    blight_strike: float = parameter(
        "1",
        "hazard of being struck by fire blight in a bloom of saturating infection weather of a middle year, scion as "
        "Gala, all bloom open. Assumption, set together with the spread of the level",
        low=0,
        high=2,
        default=0.008,
    )
    blight_level_spread: float = parameter(
        "1",
        "standard deviation of the logarithm of a place's level of fire blight between years of like weather. "
        "Assumption, set so that serious blight strikes 1.5-4 % of orchards a year in an arid region and more in a "
        "humid one. Derived from ten named years of 28, core.ac.uk/works/167113242",
        low=0,
        high=3,
        default=2.8,
    )
    blight_days_scale: float = parameter(
        "day",
        "infection days in bloom at which the pressure reaches 63 % of its limit (assumption)",
        low=0.2,
        high=20,
        default=2.5,
    )
    blight_lethal_scion: float = parameter(
        "1",
        "share of strikes on a very young tree that kill it even on an immune stock (assumption). Royal Gala on G.16, "
        "G.30 and B.9 lost no tree after severe blossom infection (read, Plant Dis. 87:26)",
        low=0,
        high=1,
        default=0.01,
    )
    blight_lethal_stock: float = parameter(
        "1",
        "share that a stock as susceptible as M.9 adds to that (derived). 36-100 % of Royal Gala on clones of M.9 and "
        "M.26 died after severe blossom infection, and on G.11 25 % (read, Plant Dis. 87:26)",
        low=0,
        high=1,
        default=0.65,
    )
    blight_age_scale: float = parameter(
        "leaf", "leaves over which a struck tree's risk to die falls to 37 % (assumption)", low=1, high=60, default=4.0
    )
    blight_first_bloom: float = parameter(
        "leaf",
        "leaf about which trees carry half their bloom and so half their blossom infections (assumption)",
        low=0.5,
        high=10,
        default=1.5,
    )
    blight_spread: float = parameter(
        "1",
        "hazard that a struck tree adds to a neighbour at no distance, both as susceptible as Gala (assumption)",
        low=0,
        high=2,
        default=0.25,
    )
    blight_spread_distance: float = parameter(
        "m", "distance over which spread falls to 37 % (assumption)", low=0.2, high=20, default=2.0
    )
    blight_control: float = parameter(
        "1",
        "share of blossom infections that the grower's sprays prevent, paid by costs.blight_sprays (a matter of the "
        "plan)",
        low=0,
        high=1,
        default=0.0,
    )
    blight_sanitation: float = parameter(
        "1",
        "share of the strikes that are cut out promptly: they neither spread nor overwinter (a matter of the plan)",
        low=0,
        high=1,
        default=0.3,
    )
    blight_carry: float = parameter(
        "1",
        "infection days that count more in a bloom, per share of the block's trees whose strikes of earlier years were "
        "left uncut: cankers overwinter (assumption)",
        low=0,
        high=100,
        default=5.0,
    )
    blight_cut_minutes: float = parameter(
        "minute",
        "labour to cut the strikes out of a tree, where sanitation asks for it (assumption)",
        low=0,
        high=240,
        default=10.0,
    )
    blight_wood_loss: float = parameter(
        "1",
        "share of its health that a struck tree loses with its wood, if it lives (assumption)",
        low=0,
        high=1,
        default=0.25,
    )

    cold_width: float = parameter(
        "K",
        "spread between trees of the killing temperature, logistic scale (assumption)",
        low=0.2,
        high=8,
        default=1.2,
    )
    cold_weakness: float = parameter(
        "K", "hardiness that a tree of no health lacks (assumption)", low=0, high=20, default=5.0
    )
    cold_youth: float = parameter(
        "K", "hardiness that a tree lacks in its first winter (assumption)", low=0, high=20, default=2.0
    )
    acclimation_kill: float = parameter(
        "K",
        "cold beyond early-winter hardening that kills half of the trees (assumption)",
        low=1,
        high=40,
        default=12.0,
    )
    root_width: float = parameter(
        "K",
        "the same spread for roots (assumption). It is narrow: four stocks whose roots die from about 12 °F (-11 °C) "
        "on lost none at 18 °F (-8 °C; read, HortScience 26:1523). Cold regions plant M.9 and lose below 1 % a year: "
        "less than 10 % in ten years at six sites of the 1980-81 trial",
        low=0.1,
        high=8,
        default=0.4,
    )
    cold_injury: float = parameter(
        "1",
        "share of its health that a surviving tree loses at a cold that kills half (assumption)",
        low=0,
        high=1,
        default=0.3,
    )

    vole: float = parameter(
        "1/year",
        "hazard by voles in mature blocks without guards, weed-free strip kept: a little under half of 1 % "
        "(read: Sullivan et al. 1980, as given in the proceedings at digitalcommons.unl.edu/voles/19)",
        low=0,
        high=0.5,
        default=0.0045,
    )
    vole_year_chance: float = parameter(
        "1", "chance that a winter is one of many voles (assumption)", low=0.01, high=1, default=0.25
    )
    vole_year_ratio: float = parameter(
        "1", "voles in such a winter relative to the long-run mean (assumption)", low=1, high=4, default=2.5
    )
    vole_weeds: float = parameter(
        "1",
        "hazard where weeds stand under the trees, relative to a clean strip (assumption)",
        low=1,
        high=20,
        default=3.0,
    )
    vole_youth: float = parameter(
        "1",
        "extra vole hazard of a tree in its first winter, relative to a mature one (assumption)",
        low=0,
        high=20,
        default=1.0,
    )
    vole_guards: bool = parameter("flag", "whether trunks carry guards against voles, sun and borers", default=False)
    vole_guard_share: float = parameter(
        "1", "share of the vole hazard that guards leave (assumption)", low=0, high=1, default=0.2
    )

    deer: float = parameter(
        "1/year", "hazard by deer of a tree of no height, without a fence (assumption)", low=0, high=0.5, default=0.02
    )
    deer_height: float = parameter(
        "m", "height over which the deer hazard falls to 37 % (assumption)", low=0.2, high=3, default=0.8
    )
    deer_fence_share: float = parameter(
        "1",
        "share of the deer hazard that a fence of 8 ft leaves; nearly fully effective (read, Rutgers FS889; the "
        "number is an assumption)",
        low=0,
        high=1,
        default=0.02,
    )

    crown_rot: float = parameter(
        "1/year",
        "hazard by crown rot of a stock as susceptible as MM.106 in a usual season (assumption)",
        low=0,
        high=0.5,
        default=0.003,
    )
    crown_rot_wet_days: float = parameter(
        "day",
        "days in leaf with saturated soil in a usual season (assumption; the water balance gives a median near 60 on "
        "the bundled record of a humid place: computed)",
        low=1,
        high=250,
        default=60.0,
    )

    crown_rot_drained: float = parameter(
        "1",
        "crown rot on well-drained ground over that on moderately drained ground (assumption)",
        low=0,
        high=1,
        default=0.4,
    )
    crown_rot_undrained: float = parameter(
        "1",
        "crown rot on poorly drained ground over that on moderately drained ground (assumption; MM.111 is tolerant "
        "only where drained: read, NC-140 stock chart)",
        low=1,
        high=30,
        default=4.0,
    )
    crown_rot_spread: float = parameter(
        "1",
        "standard deviation of the logarithm of a block's level of crown rot between years as wet, on moderately "
        "drained ground; the mean stays. Assumption: losses to it are told of single blocks and years, and in trials "
        "of five years most sites lost no tree while one or two lost a quarter (read, J. Amer. Pomol. Soc. 71(3))",
        low=0,
        high=3,
        default=1.5,
    )
    crown_rot_spread_drained: float = parameter(
        "1",
        "the same on well-drained ground, where water stands in few years (assumption)",
        low=0,
        high=3,
        default=1.8,
    )
    crown_rot_spread_undrained: float = parameter(
        "1",
        "the same on poorly drained ground, where it stands in most years (assumption)",
        low=0,
        high=3,
        default=1.2,
    )

    decline_year_chance: float = parameter(
        "1",
        "chance in a year that young trees of a block on dwarfing stocks begin to die without a known reason, called "
        "rapid decline (assumption; four fifths of one state's orchards showed signs: read, press)",
        low=0,
        high=1,
        default=0.02,
    )
    decline: float = parameter(
        "1",
        "hazard of a tree in its leaves 2 to 8 in such a year (derived: growers lost 10 to 30 %, the worst 2,000 of "
        "7,000 trees within five years: read, The Economist 13 April 2019 and others)",
        low=0,
        high=3,
        default=0.2,
    )

    trunk_injury: float = parameter(
        "1/year",
        "hazard by borers and southwest injury (sun on frozen bark) of a bare trunk in its first winter (assumption)",
        low=0,
        high=0.2,
        default=0.003,
    )
    trunk_injury_age_scale: float = parameter(
        "leaf",
        "leaves over which that hazard falls to 37 %, as bark roughens (assumption)",
        low=1,
        high=30,
        default=5.0,
    )
    burr_knot_share: float = parameter(
        "1",
        "share of that hazard that burr knots of a stock as M.9 bring, for borers lay in them (assumption)",
        low=0,
        high=1,
        default=0.5,
    )
    trunk_guard_share: float = parameter(
        "1", "share of that hazard that trunk guards leave (assumption)", low=0, high=1, default=0.4
    )

    maimed: float = parameter(
        "1",
        "trees that barely escape, per tree that dies of anything but blight, and keep lasting harm. Assumption: at "
        "1 girth varies by 0.14 between trees where 0.05 to 0.12 was published",
        low=0,
        high=10,
        default=0.3,
    )
    maimed_loss: float = parameter(
        "1", "share of its health that such a tree loses (assumption)", low=0, high=0.95, default=0.65
    )

    woolly_aphid: float = parameter(
        "1/year",
        "share of its health that a tree loses to woolly aphids on its roots, stock as M.9, on average ground. "
        "Assumption: trials of stocks hold the usual infestation; more where the pest is known",
        low=0,
        high=0.5,
        default=0.004,
    )

    drought: float = parameter(
        "1/day",
        "hazard of a mature tree per day of severe drought beyond the free days (assumption)",
        low=0,
        high=0.1,
        default=0.0001,
    )
    drought_free_days: float = parameter(
        "day", "days of severe drought that kill no established tree (assumption)", low=0, high=200, default=20.0
    )
    drought_youth: float = parameter(
        "1", "extra drought hazard of a tree in its first leaf (assumption)", low=0, high=100, default=9.0
    )

    wind: float = parameter(
        "1/year",
        "hazard by breaking or blowing over, in a usual year, of a supported mature tree on M.9 with 0.5 kg of fruit "
        "per cm2 of trunk (assumption)",
        low=0,
        high=0.2,
        default=0.0008,
    )
    wind_spread: float = parameter(
        "1",
        "standard deviation of the logarithm of storm severity between years (assumption; a ten-year trial in "
        "Missouri lost most of its trees in two thunderstorms: read, J. Amer. Pomol. Soc.)",
        low=0,
        high=2,
        default=1.1,
    )
    wind_load: float = parameter(
        "cm2/kg", "increase of breakage per kg of fruit and cm2 of trunk (assumption)", low=0, high=10, default=1.0
    )
    wind_youth: float = parameter(
        "1", "extra breakage of a union in its first leaf (assumption)", low=0, high=20, default=1.0
    )
    wind_stake: float = parameter(
        "1", "breakage with a single stake relative to wires (assumption)", low=0, high=20, default=1.5
    )
    wind_free: float = parameter(
        "1",
        "breakage of a free-standing tree on a stock that stands alone, relative to wires (assumption)",
        low=0,
        high=20,
        default=1.5,
    )
    wind_unsupported: float = parameter(
        "1",
        "breakage without support of a tree that needs one, relative to wires (assumption)",
        low=0,
        high=100,
        default=15.0,
    )

    collapse: float = parameter(
        "1/km",
        "collapses per km of row and usual year, full crop, support built to local practice (assumption; a relative "
        "risk only: the model designs no structure)",
        low=0,
        high=5,
        default=0.002,
    )
    collapse_load: float = parameter(
        "kg/m",
        "fruit per length of row that the support was meant for (about 63,000 lb/ac at 12 ft rows is 25.8 "
        "kg/m: derived from a design load read at blogs.cornell.edu/jentsch)",
        low=1,
        high=200,
        default=25.8,
    )
    collapse_length: float = parameter(
        "m", "longest stretch of row that goes down (assumption)", low=2, high=500, default=80.0
    )
    collapse_kill: float = parameter(
        "1", "share of the trees in the stretch that are lost (assumption)", low=0, high=0.99, default=0.5
    )
    collapse_reference_spacing: float = parameter(
        "m",
        "distance between line posts to which the collapse rate belongs; it goes with the square of the plan's "
        "(assumption)",
        low=2,
        high=30,
        default=10.0,
    )
    collapse_unanchored: float = parameter(
        "1",
        "collapse rate of rows without an anchor at both ends over that of anchored rows (assumption)",
        low=1,
        high=50,
        default=5.0,
    )

    replant: float = parameter(
        "1/year",
        "hazard by replant disease of a sensitive stock in its first leaf on old apple ground (assumption)",
        low=0,
        high=0.5,
        default=0.006,
    )
    replant_age_scale: float = parameter(
        "leaf", "leaves over which that hazard falls to 37 % (assumption)", low=0.5, high=20, default=2.0
    )
    replant_gap: float = parameter(
        "1",
        "share of that hazard where one tree is replaced in a block on fresh ground (assumption)",
        low=0,
        high=1,
        default=0.4,
    )

    old_age: float = parameter(
        "1/year", "hazard at the end of the usual life (assumption)", low=0, high=1, default=0.03
    )
    old_age_scale: float = parameter(
        "leaf", "leaves over which that hazard grows by e (assumption)", low=1, high=30, default=4.0
    )
    life_dwarf: float = parameter("leaf", "usual life of a tree of no size (assumption)", low=5, high=100, default=18.0)
    life_size: float = parameter(
        "leaf", "leaves that the size of a tree on seedling adds to it (assumption)", low=0, high=150, default=40.0
    )
