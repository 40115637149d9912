"""What is printed: tags, sheets and cards, typeset in this process."""
