"""`python -m identify` is `baitprint`."""

from identify.commands import main

if __name__ == "__main__":
    main()
