"""Points and a camera in; head rotation and place out. No picture is touched here."""
