"""One zone judged against a part, a rock and a registration given by hand."""

from __future__ import annotations

from clearance.motion.pair import pair_motion
from clearance.motion.rock import Rock
from clearance.registration.result import Registration
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.verdict.judge import judge_zone
from clearance.verdict.result import ZoneResult
from clearance.verdict.setting import Setting


def setting_of(part: Part, registration: Registration, scan: Scan | None, rock: Rock | None) -> Setting:
    """A cold setting at 95 %."""
    return Setting(part=part, registration=registration, scan=scan, rock=rock, growth=None, confidence=0.95)


def judged(zone: Zone, part: Part, registration: Registration, scan: Scan | None, rock: Rock | None) -> ZoneResult:
    """The zone's result; zone and part ride on what they say."""
    return judge_zone(zone, pair_motion(part.rides, zone.rides, rock), setting_of(part, registration, scan, rock))
