"""An invented reference instrument, ordinary for its kind (all numbers common practice, no source).

Bare: shield 32.0 K, platform 3.18 K. Shield 1.1 K per added watt; platform 7.5 mK per added milliwatt,
linear to 150 mW. Wires 0.30 m from the vessel to the shield, 0.15 m from there to the cold end. A well made
mount is 40 K/W from sample to platform, a dry one 300 K/W.
"""

from server.physics.statistics import Band
from server.physics.thermal import Bare, Budget, Cryostat, HeaterPoint, HeaterTest, Joint, Lag, Run

STAGES = ("vessel", "shield", "platform", "sample")
LENGTHS_m = {("vessel", "shield"): 0.30, ("shield", "platform"): 0.15}
SHIELD_LAG = Lag("shield", 0.010, "varnish", "good")
COAX_LAG = Lag("shield", 0.030, "grease", "good")
GREASED = Joint("mount", resistance_K_W=40.0)
DRY = Joint("mount", resistance_K_W=300.0)


def platform_K(budget: Budget) -> float:
    """The best value of the platform's temperature."""
    return best(budget.temperatures["platform"])


def best(band: Band) -> float:
    """A best value that must be there."""
    assert band.best is not None
    return band.best


def bench_a(**changes: object) -> Cryostat:
    """The instrument, with a limit of 3.6 K for the platform and 4.0 K for the sample."""
    points = (
        HeaterPoint("platform", 0.0, 32.0, 3.18),
        HeaterPoint("platform", 0.150, 32.0, 4.305),
        HeaterPoint("shield", 0.0, 32.0, 3.18),
        HeaterPoint("shield", 4.0, 36.4, 3.18),
    )
    usual = {
        "stages": STAGES,
        "cooler": HeaterTest(points),
        "bare": Bare(),
        "limits_K": {"platform": 3.6, "sample": 4.0},
        "vessel_K": 300.0,
    }
    return Cryostat(**(usual | changes))  # type: ignore[arg-type]


def loom(material: str | None, lagged: bool = True, key: str = "loom", ends_on: str = "platform") -> Run:
    """24 wires AWG 36."""
    lengths_m = {("vessel", "shield"): 0.30, ("shield", ends_on): 0.15}
    lags = (SHIELD_LAG,) if lagged else ()
    return Run(key, "wire", material, 24, 0.127e-3, lengths_m, lags, ends_on)


def phosphor_bronze_loom(lagged: bool = True, key: str = "loom", ends_on: str = "platform") -> Run:
    """24 phosphor bronze wires AWG 36."""
    return loom("phosphor-bronze", lagged, key, ends_on)


def coax(
    material: str, diameter_m: float = 2.2e-3, lagged: bool = True, key: str = "rf", ends_on: str = "platform"
) -> Run:
    """Four coax with jacket and centre of one metal."""
    lengths_m = {("vessel", "shield"): 0.30, ("shield", ends_on): 0.15}
    lags = (COAX_LAG,) if lagged else ()
    return Run(key, "coax", material, 4, diameter_m, lengths_m, lags, ends_on, centre_material=material)
