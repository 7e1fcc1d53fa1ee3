"""What is said of each stone, how sure it is, and where to go and look when nothing surer can be said."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.wetting.heads import Heads
    from gravegis.layers.canonical import Frame

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Bools = npt.NDArray[np.bool_]

__all__ = ["STATES", "certainties", "looks", "settle", "states_of", "struck_chance"]

STATES = ("dry", "fringe", "foot wetted", "uncertain", "rained on", "struck")
_DRY, _FRINGE, _FOOT, _UNCERTAIN, _RAINED, _STRUCK = range(6)
_OF_SIGHT = {"dry": _DRY, "mist": _FRINGE, "wetted": _RAINED, "struck": _STRUCK}


def settle(table: Frame, kept: Frame, sights: Frame, heads: Heads) -> None:
    """Say of each stone: reached, not reached, or neither can be said; and where the answer comes from."""
    rows, drawn = np.arange(len(table)), table["drawn"].to_numpy()
    links_n, wet = np.bincount(kept["stone"], minlength=len(rows)), np.isin(rows, sights.loc[sights["is_wet"], "row"])
    not_wet = sights[~sights["is_wet"]]
    # where heads are known a sight of one zone says nothing of the others
    for_all = not_wet[(not_wet["width"] == 0) | (len(heads.frame) == 0)]
    yes = (links_n > 0) | drawn | wet
    no = ~yes & (~table["doubt"].to_numpy() | np.isin(rows, for_all["row"]))
    by_sight, by_drawing = wet | (no & np.isin(rows, not_wet["row"])), drawn | (no & (len(heads.frame) == 0))
    table["basis"] = np.select([by_sight, by_drawing, yes | no], ["observed", "wet area", "model"], "not known")
    table["reached"], table["heads_n"] = yes, links_n
    table["reached"] = table["reached"].astype("boolean").where(yes | no)
    table["heads_n"] = table["heads_n"].astype("Int64").where(no | (links_n > 0))


def states_of(
    table: Frame, pairs: Frame, sights: Frame, heads: Heads, share: Floats
) -> tuple[list[str | None], list[str]]:
    """Return the state of each stone: the worst of what was seen and of what the model says where nobody looked.

    And where it comes from: a stone of which one zone was seen, but whose state another one gives, is modelled.
    Uncertain comes before all but struck and rained on; None where nothing is known that waters the stone.
    """
    from gravegis.science.irrigation import certainty

    free = pairs[(pairs["seen"] == "") & (pairs["throw"] >= 0)]
    stone, margin = free["stone"].to_numpy(), free["margin_m"].to_numpy(dtype=np.float64)
    sure = certainty.sureness(stone, margin, free["error_m"].to_numpy(dtype=np.float64), len(table))
    best = np.full(len(table), -np.inf)
    np.maximum.at(best, stone, margin)
    struck = np.zeros(len(table), dtype=np.bool_)
    struck[pairs.loc[pairs["struck"].astype(bool), "stone"]] = True
    modelled = certainty.states(sure, best, np.zeros(len(table), dtype=np.bool_))
    to_ours = {
        certainty.State.DRY: _DRY, certainty.State.FRINGE: _FRINGE, certainty.State.FOOT_WETTED: _FOOT,
        certainty.State.UNCERTAIN: _UNCERTAIN, certainty.State.RAINED_ON: _RAINED, certainty.State.STRUCK: _STRUCK,
    }  # fmt: skip
    state = np.array([to_ours[certainty.State(one)] for one in range(6)])[modelled]
    shaded = (state == _RAINED) & _in_shadow(pairs, share, len(table))
    state = np.where(shaded, _FOOT, state)
    # places as surveyed say struck, and are not sure enough for it
    state[pairs.loc[pairs["maybe"].astype(bool), "stone"]] = _UNCERTAIN
    state[pairs.loc[pairs["struck"].astype(bool) & (pairs["seen"] == ""), "stone"]] = _STRUCK
    seen = np.full(len(table), _DRY)
    np.maximum.at(seen, sights["row"].to_numpy(dtype=np.int64),
                  sights["seen"].map(_OF_SIGHT).to_numpy(dtype=np.int64))  # fmt: skip
    drawn = table["drawn"].to_numpy(dtype=bool)
    by_sight = (table["basis"] == "observed").to_numpy() & (np.where(drawn, np.maximum(state, _RAINED), state) > seen)
    basis = np.where(by_sight, np.where(drawn & (state <= _RAINED), "wet area", "model"), table["basis"])
    state = np.maximum(state, seen)
    state = np.where(drawn, np.maximum(state, _RAINED), state)
    state = np.where(struck, _STRUCK, state)
    open_ = table["reached"].isna().to_numpy()
    state = np.where(open_, _UNCERTAIN, state)
    nothing = open_ & (len(heads.point) == 0)
    return [None if lacking else STATES[one] for one, lacking in zip(state, nothing, strict=True)], basis.tolist()


def _in_shadow(pairs: Frame, share: Floats, stones_n: int) -> Bools:
    """Whether no water at all falls on a stone of known size, for the stones in front of it take it."""
    mine = pairs["kept"].to_numpy(dtype=bool)
    stone = pairs["stone"].to_numpy()[mine]
    whole = share[mine].sum(axis=1)  # NaN where the height is not known
    caught = np.zeros(stones_n)
    np.add.at(caught, stone, whole)
    has_size = np.zeros(stones_n, dtype=np.bool_)
    has_size[stone] = pairs["has_size"].to_numpy(dtype=bool)[mine]
    return np.asarray(has_size & (caught == 0.0))


def struck_chance(table: Frame, pairs: Frame, sights: Frame) -> Floats:
    """Return the probability that at least one stream strikes each stone; errors of heads count as independent.

    What was seen is sure; NaN where the height of the stone is not known and nobody looked.
    """
    seen, chance = pairs["seen"].to_numpy(dtype=object), pairs["chance"].to_numpy(dtype=np.float64)
    chance = np.where(seen == "struck", 1.0, np.where(np.isin(seen, ["dry", "mist", "wetted"]), 0.0, chance))
    missed = np.ones(len(table))
    np.multiply.at(missed, pairs["stone"].to_numpy(), 1.0 - chance)
    missed[sights.loc[sights["seen"] == "struck", "row"].to_numpy(dtype=np.int64)] = 0.0
    return np.where(table["reached"].isna(), np.nan, np.round(1.0 - missed, 9))


def certainties(table: Frame, pairs: Frame, stones: Frame, heads: Heads) -> list[str | None]:
    """Return how good the inputs behind each answer are: surveyed, modelled or guessed.

    Surveyed: seen, drawn, or reached only by heads whose throw was measured, all in known places. Guessed: a throw
    by kind or assumed, an unknown turn or place. Of a struck stone those heads count that strike it. None where
    nothing is known.
    """
    of_head = {
        name: heads.frame[name].to_numpy(dtype=bool)[pairs["head"].to_numpy()] for name in ("guessed", "measured")
    }
    stone, stones_n = pairs["stone"].to_numpy(), len(table)
    struck = (table["state"] == "struck").to_numpy()[stone]
    unseen = (pairs["seen"] == "").to_numpy() & (~struck | pairs["struck"].to_numpy(dtype=bool))
    guessed, not_measured = np.zeros((2, stones_n), dtype=np.bool_)
    guessed[stone[unseen & of_head["guessed"]]] = True
    not_measured[stone[unseen & ~of_head["measured"]]] = True
    guessed |= stones["unplaced"].to_numpy(dtype=bool) & (table["basis"] == "model").to_numpy()
    told = np.isin(table["basis"], ["observed", "wet area"])
    words = np.select([told, guessed, not_measured], ["surveyed", "guessed", "modelled"], "surveyed")
    words = np.where(
        (table["basis"] == "model").to_numpy() & (words == "surveyed") & (table["heads_n"] == 0).fillna(value=False),
        "modelled",
        words,
    )
    return [None if basis == "not known" else str(word) for word, basis in zip(words, table["basis"], strict=True)]


def looks(pairs: Frame, stones: Frame) -> Frame:
    """Return, per head, the stones that its stream may strike, likeliest first.

    None stands farther from its head than the strike distance and 2.2 times the error of its place; what was seen
    already needs no look.
    """
    from gravegis.science.irrigation.certainty import worth_a_look

    names = ("distance_m", "strike_m", "place_error_m")
    near = worth_a_look(*(pairs[name].to_numpy(dtype=np.float64) for name in names))
    wanted = (pairs["seen"] == "") & near
    found = pairs[wanted & ((pairs["chance"] > 0) | pairs["struck"].astype(bool))]
    found = found.assign(near=found["chance"].round(9))
    found = found.sort_values(["head", "near", "distance_m", "stone"], ascending=[True, False, True, True])
    seq = found.groupby("head").cumcount() + 1
    made = found[["head_id", "stone_id", "zone_id", "distance_m"]]
    return made.assign(seq=seq, struck_prob=found["chance"]).reset_index(drop=True)
