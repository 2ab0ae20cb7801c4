"""The summary that funders, lenders, the public and the programme itself read."""
