"""Parts of the campaign of faults (``bash scripts/faults``): each tries, and tells what held and what broke."""
