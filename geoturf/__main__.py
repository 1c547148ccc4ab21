"""python -m geoturf"""

from geoturf.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
