"""What every source must keep, as tests to inherit; see source_contract.py."""
