//! The `report` room, through its door.
