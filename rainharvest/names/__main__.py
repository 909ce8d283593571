"""Prints the glossary."""

from rainharvest.names import glossary

if __name__ == "__main__":
    print(glossary())
