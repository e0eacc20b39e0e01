"""How work grows with its amount, as a ratio of times of one process in one run; never a time by itself."""

import time
from collections.abc import Callable


def growth(work: Callable[[int], object], small: int, large: int, *, rounds: int = 3) -> float:
    """Time of the large amount over that of the small one; the best of a few rounds of each, taken in turns."""
    best = {small: float("inf"), large: float("inf")}
    for _ in range(rounds):
        for amount in (small, large):
            began = time.process_time()
            work(amount)
            best[amount] = min(best[amount], time.process_time() - began)
    return best[large] / best[small]
