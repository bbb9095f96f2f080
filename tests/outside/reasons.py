"""A request that the schema allows is answered, or refused for a reason that no schema can say."""

import schemathesis

# Rules between fields and parts, and what only working it out shows.
REASONS = {"contradiction", "too-costly"}


@schemathesis.check
def refused_for_a_reason(ctx, response, case):
    if case.meta is None or not case.meta.generation.mode.is_positive or response.status_code < 400:
        return
    if response.status_code in (404, 503):
        return
    problem = response.json()
    reasons = {fault["code"] for fault in problem.get("errors", [])}
    wrong = reasons - REASONS
    assert reasons and not wrong, f"{response.status_code} {problem['code']}: {sorted(wrong)}"
