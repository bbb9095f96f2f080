"""One call by the generated client, whose types are checked before."""

import sys

from sensewright import Client
from sensewright.api.calculations import shunt_parallel
from sensewright.models import ShuntParallelAnswer, ShuntParallelInput, ShuntParallelInputElementsItem

elements = [ShuntParallelInputElementsItem(resistance_ohm=ohm) for ohm in (1e-4, 1.1e-4)]
answer = shunt_parallel.sync(client=Client(base_url=sys.argv[1]), body=ShuntParallelInput(current_a=900.0, elements=elements))
assert isinstance(answer, ShuntParallelAnswer), answer
print("Python:", answer.engine, answer.link, len(answer.findings), "findings")
