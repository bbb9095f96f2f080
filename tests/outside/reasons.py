"""A request that the schema allows is answered, or refused for a reason that no schema can say."""

import schemathesis

# Rules between fields and parts, what a part hands down to one that rests on it, and what only working it out shows.
REASONS = {"contradiction", "handed-down", "too-costly"}


def of_parts(fault):
    """Whether a part is named that the design does not have."""
    return fault["code"] == "not-a-choice" and fault["message"].startswith("There is no part")


@schemathesis.check
def refused_for_a_reason(ctx, response, case):
    if case.meta is None or not case.meta.generation.mode.is_positive or response.status_code < 400:
        return
    if response.status_code in (404, 503):
        return
    problem = response.json()
    faults = problem.get("errors", [])
    wrong = {fault["code"] for fault in faults if not of_parts(fault)} - REASONS
    assert faults and not wrong, f"{response.status_code} {problem['code']}: {sorted(wrong)}"
