"""What holds for the whole run."""

from hypothesis import settings

from tests.support.turns import today

# Before the workers start: a midnight between two collections would give them other tests.
today()

# A change is judged by the same examples each time; `make soak` draws fresh ones.
settings.register_profile("same", derandomize=True)
settings.register_profile("fresh")
settings.load_profile("same")
