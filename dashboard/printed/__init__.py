"""The figures on paper: packs as PDF and as one self-contained web page. The numbers are those of the screen."""
