"""The job behind the sample plan, made by hand. All values invented."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from pathlib import Path

from cureplan.inputs.cards.model import (
    AggregateCard,
    Milestone,
    MilestonePoint,
    Part,
    PrimerCard,
    RatePrior,
    SlurryCard,
    TopcoatCard,
)
from cureplan.inputs.job.model import (
    Access,
    Building,
    Cards,
    Crew,
    Job,
    Materials,
    Pace,
    Policy,
    Room,
    Shift,
    Site,
    WeatherRequest,
)

# 21:00 in New York on a Wednesday.
FIRST = datetime(2013, 7, 18, 1, 0, tzinfo=UTC)
MADE = datetime(2013, 7, 17, 20, 30, tzinfo=UTC)
NAMES = ("Cook line", "Corridor")


def after(minutes: float) -> datetime:
    """Instant so many minutes after the first bucket's liquids go in."""
    return FIRST + timedelta(minutes=minutes)


def _milestone(name: str, minutes: float) -> Milestone:
    point = MilestonePoint(
        at_c=21.0,
        humidity_frac=None,
        after_s=minutes * 60,
        after_late_s=minutes * 60,
        provenance="from memory",
    )
    return Milestone(name=name, clock_starts="filler_in", points=(point,), spread_frac=0.06)


def _cards() -> Cards:
    prior = RatePrior(mean_j_mol=50_000.0, sd_j_mol=10_000.0)
    parts = (
        Part(
            name="resin",
            kind="liquid",
            mass_kg=2.5,
            specific_heat_j_kg_k=1900.0,
            density_kg_m3=1050.0,
            provenance="from memory",
        ),
        Part(
            name="filler",
            kind="filler",
            mass_kg=13.6,
            specific_heat_j_kg_k=850.0,
            density_kg_m3=2650.0,
            provenance="from memory",
        ),
    )
    slurry = SlurryCard(
        key="fast-slurry",
        title="Fast slurry",
        generic=True,
        parts=parts,
        mixed_yield_m3=0.00935,
        thickness_m=0.003175,
        liquids_mix_s=150.0,
        filler_mix_s=180.0,
        turnaround_s=90.0,
        reference_haul_s=60.0,
        liquid_stage_share=0.2,
        bucket_heat_rise_k=8.0,
        mixing_power_w=300.0,
        bucket_exchange_w_k=1.0,
        coldest_liquids_c=2.0,
        pail_diameter_m=0.165,
        pail_conductivity_w_m_k=0.18,
        prior=prior,
        milestones={"wet_edge": _milestone("wet_edge", 16)},
        provenance={"mixed_yield": "from memory"},
    )
    topcoat = TopcoatCard(
        key="clear-topcoat",
        title="Clear topcoat",
        generic=True,
        ratio=(1.0, 1.0),
        batch_m3=0.0076,
        spread_first_m2_m3=2200.0,
        spread_second_m2_m3=4400.0,
        mix_s=120.0,
        prior=prior,
        milestones={"working_time": _milestone("working_time", 20)},
        provenance={},
    )
    aggregate = AggregateCard(
        key="quartz",
        title="Quartz",
        generic=True,
        kept_kg_m2=2.44,
        swept_kg_m2=2.44,
        bag_kg=22.7,
        provenance={},
    )
    primer = PrimerCard(
        key="primer",
        title="Primer",
        generic=True,
        batch_m3=0.0076,
        spread_m2_m3=5000.0,
        mix_s=180.0,
        broadcast_kg_m2=0.0,
        prior=prior,
        milestones={"working_time": _milestone("working_time", 25)},
        provenance={},
    )
    return Cards(slurry=slurry, topcoat=topcoat, aggregate=aggregate, primer=primer)


def _room(name: str, length_m: float, width_m: float, way_out: tuple[str, ...]) -> Room:
    return Room(
        name=name,
        length_m=length_m,
        width_m=width_m,
        use="food preparation",
        way_out=way_out,
        topcoats=2,
        climate="drifting",
        set_point_c=None,
        slab_thickness_m=0.1524,
        insulation_m=0.0,
        slab_reading=None,
        sun_patch=None,
        open_by=None,
        group=None,
    )


def sample_job(names: tuple[str, str] = NAMES, *, site: str = "Example school kitchen") -> Job:
    return Job(
        site=Site(
            name=site,
            latitude_deg=40.78,
            longitude_deg=-73.88,
            elevation_m=3.0,
            time_zone="America/New_York",
        ),
        weather=WeatherRequest(
            source="file", file=Path("heat-wave.csv"), max_age_s=86_400.0, contact=None
        ),
        building=Building(
            climate="drifting",
            lag_s=18_000.0,
            gain_k=1.1,
            set_point_c=None,
            slab_thickness_m=0.1524,
            insulation_m=0.0,
            below="ground",
            ground_c=18.9,
        ),
        access=Access(begins=after(-120), open_by=after(60 * 57)),
        materials=Materials(
            storage_c=28.9,
            iced_c=4.0,
            cool_filler_c=15.0,
            liquids_measured_c=None,
            stirred_in_ice=False,
            cooler_loss=0.3,
            waste=0.03,
            profile_allowance_m=0.0003,
            thickness_m=0.003175,
        ),
        crew=Crew(
            stations=2,
            mixer=2,
            runner=1,
            rake=1,
            smoother=1,
            broadcaster=2,
            edge=1,
            topcoat=3,
            setup_s=2700.0,
            changeover_s=900.0,
            pour_shifts=(Shift(begins=time(19), ends=time(5)),),
            topcoat_shifts=(Shift(begins=time(5), ends=time(17)),),
        ),
        pace=Pace(
            haul_s=60.0,
            rake_m2_s=0.03,
            smooth_m2_s=0.03,
            broadcast_m2_s=0.03,
            topcoat_m2_s=0.01,
            vacuum_m2_s=0.03,
            row_depth_min_m=0.4,
            row_depth_max_m=1.2,
            bay_turn_s=120.0,
        ),
        policy=Policy(
            margin_s=120.0, confidence=0.9, remedies=("hour", "chill", "bays"), dew_margin_k=3.0
        ),
        rooms=(
            _room(names[0], 4.0, 1.5, (names[1],)),
            _room(names[1], 3.0, 1.8, ()),
        ),
        cards=_cards(),
        display="us",
        languages=("en", "es"),
        source=Path("kitchen.toml"),
        seed=7,
        notes=(),
    )
