"""Prints how often the records of the demo flock tell the truth, over many seeds: see its README.

python -m tests.demo.demo_figures
"""

import datetime as dt

from flockcare.analysis.episodes import Look, risk_pairs
from flockcare.analysis.onset import fit_rates
from flockcare.demo.cast import CART_SHED, HENS
from flockcare.demo.model import FEET, MOVES, OPEN, live

DAY = dt.timedelta(days=1)
DAYS = (dt.date(2026, 5, 20), dt.date(2026, 11, 25))
SEEDS = range(100, 160)


def new_sores_and_sound_days(history, hens):
    """[(new sores, days of sound feet)] before and after the draining, by the truth itself.

    Without the three feet that are sore today by arrangement.
    """
    counts, days = [0, 0], [0, 0]
    for hen in hens:
        for foot in FEET:
            if (hen.name, foot) in OPEN:
                continue
            hers = [sore for sore in history.sores if (sore.hen, sore.foot) == (hen, foot)]
            sick = {
                sore.onset + DAY * n for sore in hers for n in range((sore.end - sore.onset).days)
            }
            for sore in hers:
                counts[sore.onset >= history.drained] += 1
            day = history.came(hen)
            while day < history.gone(hen):
                days[day >= history.drained] += day not in sick
                day += DAY
    return counts, days


def notes_ratio(history):
    """Notes of sore feet per day, after to before, as somebody would count them in the book."""
    notes = [0, 0]
    for look in history.looks:
        notes[look.on > history.drained] += len(look.sores)
    watched = (history.drained - history.start).days, (history.today - history.drained).days
    return (notes[1] / watched[1]) / (notes[0] / watched[0])


# Without the one that moves to the other house.
CART = [hen for hen in HENS if hen.house == CART_SHED and hen.name != MOVES]


def pairs_at_risk(history):
    for hen in CART:
        hers = [look for look in history.looks if look.hen is hen]
        for foot in FEET:
            yield from risk_pairs([Look(look.on, foot in look.sores) for look in hers]).pairs


def figures(today: dt.date) -> dict:
    lives = [live(today, seed) for seed in SEEDS]
    cut = lives[0].drained.toordinal()
    both = [new_sores_and_sound_days(history, CART) for history in lives]
    new, sound = (
        [sum(column) for column in zip(*part, strict=True)] for part in zip(*both, strict=True)
    )
    truth = (new[1] / sound[1]) / (new[0] / sound[0])
    fits = [fit_rates(list(pairs_at_risk(history)), cuts=(cut,)).ratio() for history in lives]
    pairs = [pair for history in lives for pair in pairs_at_risk(history)]
    together = fit_rates(pairs, cuts=(cut,))
    return {
        "lives": len(lives),
        "true ratio": round(truth, 3),
        "ratio of all records together": round(together.ratio().value, 3),
        "limits leave out 1": sum(fit.high < 1 for fit in fits),
        "limits hold the truth": sum(fit.low <= truth <= fit.high for fit in fits),
        "notes of sore feet rose": sum(notes_ratio(history) > 1 for history in lives),
    }


if __name__ == "__main__":
    for day in DAYS:
        print(day, figures(day))
