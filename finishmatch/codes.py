"""The one table of codes: every error, note and kind of advice, with what it means and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal


@dataclass(frozen=True, slots=True)
class Code:
    """One row of the table: where it appears, what it means, how to mend it."""

    kind: Literal["error", "note", "advice"]
    meaning: str
    mend: str


# One row of the table is one line.
# fmt: off
CODES: dict[str, Code] = {
    # errors: the command line
    "command_line": Code("error", "The command line cannot be understood.", "see `finishmatch --help`"),
    "stopped": Code("error", "The program was stopped from the keyboard.", "run it again"),
    "bad_colour": Code("error", "A colour on the command line is not one.", 'write it as "L,a,b", for example "52.1,8.4,30.2", or as "#8a6b3d"'),
    "bad_corners": Code("error", "Corners are not four points x,y.", 'write four points clockwise from the first patch: "x,y x,y x,y x,y"'),
    "unknown_ending": Code("error", "A file of that ending cannot be written.", "end the name as the message says; spreadsheets open .csv"),
    "bad_date": Code("error", "A date on the command line is not a day.", "write it as 2026-09-30"),
    "bad_part": Code("error", "A part on the command line is not NAME=x,y,w,h.", 'write it as --part "NAME=x,y,w,h", in pixels'),
    "unknown_code": Code("error", "There is no note or error of that name.", "`finishmatch explain` without a word lists them all"),
    "unknown_card": Code("error", "There is no reference card of that name.", "`finishmatch card` lists the known ones"),
    # errors: files
    "photo_given": Code("error", "A photo was given in the place of a build file.", "mark its parts with `finishmatch mark PHOTO`"),
    "toml_invalid": Code("error", "The build file is not valid TOML.", "mend the line that is named"),
    "unknown_key": Code("error", "The build file has a key that means nothing.", "remove it or correct its spelling"),
    "build_value": Code("error", "A value in the build file is missing, of the wrong kind or out of range.", "correct the key that is named"),
    "duplicate_name": Code("error", "Two marks in one photo, or two part tables, have the same name.", "give each physical part one name, and mark it once in a photo"),
    "never_photographed": Code("error", "The build file gives facts about a part that no photo shows.", "mark the part in a photo, or remove its [[part]] table"),
    "no_parts": Code("error", "No part is marked in any photo.", "add a [[photo.part]] with a box or an outline"),
    "file_missing": Code("error", "A file that is named does not exist.", "correct the path; paths are relative to the build file"),
    "file_unreadable": Code("error", "A file exists but cannot be read.", "check its permissions, and that it is an ordinary file"),
    "file_exists": Code("error", "The file to be written exists already.", "choose another name, or remove the old file"),
    "out_unwritable": Code("error", "The output cannot be written.", "choose a folder that you may write to"),
    "no_network": Code("error", "This machine is on no network that another device could reach it by.", "join the phone's network, and turn off what keeps devices apart there"),
    "photo_unreadable": Code("error", "A file is not a photo that can be decoded, or it is cut short.", "open it in a viewer and save it again as JPEG, PNG or TIFF"),
    "decoder_stopped": Code("error", "Decoding a photo crashed, took too long or too much memory, and was stopped.", "open it in a viewer and save it again as JPEG, PNG or TIFF; raise the limits only for a file that you trust"),
    "photo_kind": Code("error", "The photo is of a kind that cannot be measured.", "export it as an RGB photo (JPEG, PNG or TIFF)"),
    "photo_too_large": Code("error", "The photo has more pixels than is allowed.", "make it smaller, cut out the card and the parts, or raise --max-megapixels and --max-megabytes"),
    "card_file_invalid": Code("error", "A card file cannot be understood.", "it must be CGATS.17 text with LAB_L, LAB_A, LAB_B for each patch, and `layout = [columns, rows]` must fit"),
    "mask_invalid": Code("error", "A mask does not fit its photo or marks nothing.", "save it as a one-channel PNG of the photo's size, non-zero where the part is"),
    "outline_outside": Code("error", "A part's outline or box lies outside the picture.", "correct its coordinates: pixels, x right, y down, in the photo shown upright"),
    "outline_invalid": Code("error", "An outline encloses no area.", "give at least three corners that are not on one line"),
    "flat_unfit": Code("error", "The flat frame does not fit its photo.", "photograph a plain even sheet with the same camera in the same place, not overexposed"),
    "limit_pair": Code("error", "The limit pair cannot serve as a tolerance.", "name two parts that are measured in the same photo"),
    "results_invalid": Code("error", "A results file cannot be understood.", "make it again with `finishmatch audit`"),
    "shelf_invalid": Code("error", "The file is not a shelf, or it is damaged.", "correct the path, or bring back a copy; `finishmatch shelf export` makes one that is easy to keep"),
    "shelf_newer": Code("error", "The shelf was written by a newer version of this program.", "install the newer version"),
    "shelf_busy": Code("error", "Another program has been writing to the shelf for a minute.", "wait until it is done and try again"),
    "record_invalid": Code("error", "A value cannot be kept on the shelf.", "correct what is named"),
    "name_ambiguous": Code("error", "Several finishes on the shelf have that name.", "say its number: `finishmatch shelf list --part NAME` shows them"),
    "record_changed": Code("error", "Somebody else has changed the record since it was read.", "look at it again, and make your change to what it is now"),
    "record_missing": Code("error", "The shelf has no such record or part.", "`finishmatch shelf list` shows what there is"),
    "exchange_invalid": Code("error", "An exchange file cannot be understood.", "it must be CSV with a line of column names, or CGATS.17 text; L, a and b (D50, 2 degree) are needed for each part"),
    "batch_invalid": Code("error", "What is to be measured cannot be found out.", "give a folder, or a text file with one photo or build file on a line"),
    "scheduler_unreachable": Code("error", "The cluster cannot be reached.", "check the address, that it runs, and that finishmatch[dask] is installed here and there"),
    "worker_died": Code("error", "The process that measured a photo was ended from outside, most often for want of memory.", "run it again with fewer --jobs, or make the photo smaller"),
    "batch_failed": Code("error", "Not one photo of the batch could be measured.", "see the reasons in its summary"),
    # errors: measuring
    "chart_photo_unfit": Code("error", "The chart in another photo, which a card names, cannot serve.", "name a photo that shows the whole chart, sharp and in even light"),
    "camera_differs": Code("error", "The chart was photographed with another camera, or in another kind of file, than the photo that names it.", "photograph the chart with the same camera, and keep both files as they came from it"),
    "camera_file_invalid": Code("error", "A camera file cannot be understood.", "learn it again with `finishmatch card learn --camera`"),
    "few_chart_photos": Code("error", "A camera is to be learnt from too few photos.", "photograph the chart in three or four places and lights"),
    "card_not_found": Code("error", "No reference card was found in the photo.", 'give its four corners, or say card = { kind = "none" }'),
    "card_order_unclear": Code("error", "The patches fit no known order of a 24-patch chart clearly.", "check the corners; if it is another card, give its card file"),
    "light_unfit": Code("error", "The light is too uneven to learn a card in.", "photograph both cards side by side in even light, far from the lamp or by a cloudy window"),
    "photos_of_two_cards": Code("error", "The photos to learn a card from do not show the same card.", "leave out the photo that is named, or learn each card by itself"),
    "card_unfit": Code("error", "Too few patches of the card can be used.", "photograph it again: whole, evenly lit, nothing on it, not overexposed"),
    "card_unplaced": Code("error", "A grey or white card is named, but not where it lies.", "give its corners, or `box = [x, y, width, height]`"),
    "all_refused": Code("error", "Not one part could be measured.", "see the notes: photograph the parts again, larger and without overexposure"),
    "internal": Code("error", "Something is wrong in finishmatch itself.", "please report it with the command that you ran"),
    # notes: the photo
    "srgb_assumed": Code("note", "The photo does not say its colour space; sRGB was assumed.", "keep the camera's original file: editing and messaging programs drop the profile"),
    "profile_unused": Code("note", "The photo's colour profile is broken or of a kind that is not used.", "export the photo again with an sRGB, Display P3 or Adobe RGB profile"),
    "profile_converted": Code("note", "The photo's table-based colour profile was applied in 8 bit, which can cost up to 1 CIEDE2000.", "export with a matrix profile (sRGB, Display P3, Adobe RGB)"),
    "cmyk_converted": Code("note", "The photo is CMYK and was brought to RGB by its profile.", "export the photo as RGB"),
    "transfer_assumed": Code("note", "The photo names the transfer curve of video; sRGB's was taken, as viewers do.", "export the photo with an sRGB or Display P3 profile"),
    "camera_unknown": Code("note", "The raw file's camera is not known: its colours are told by a 24-patch chart only.", "use a 24-patch chart, or export the photo as 16-bit TIFF"),
    "exif_unread": Code("note", "The photo's EXIF data are broken; it was taken as upright.", "look whether the photo in the report stands upright"),
    "photo_damaged": Code("note", "The photo's data are probably damaged; nothing firm is said of what it shows.", "use the original file, or copy it again from the camera"),
    "damage_unseen": Code("note", "The photo's coding is so rare that damage in its data would not be reported; nothing firm is said of what it shows.", "open it in a viewer and save it again as JPEG, PNG or TIFF"),
    "palette_colours": Code("note", "The photo has a palette of at most 256 colours.", "use the camera's original file"),
    "alpha_ignored": Code("note", "The photo's transparency was ignored.", "export it without an alpha channel"),
    "first_frame": Code("note", "The file holds several pictures; the first was measured.", "save the picture that you mean on its own"),
    "gain_map_ignored": Code("note", "The photo carries an HDR gain map; its base picture was measured.", "nothing to do; turn HDR off to be sure"),
    "card_located": Code("note", "The card was located by the program.", "look at the picture of it in the report; give corners if they are off"),
    "card_turned": Code("note", "The card lies otherwise than the corners said; the patches' colours decided.", "give the corners clockwise from the outer corner of the first patch"),
    "card_mirrored": Code("note", "The card is seen mirrored; the photo was probably flipped.", "use the camera's original file"),
    "card_other_order": Code("note", "The card is another maker's: its second and fourth row run the other way.", "its own reference values, as a card file, would measure better"),
    "card_edition": Code("note", "The edition of the card was not given; the newest was assumed.", "say `edition` in the card; editions differ by about 1 CIEDE2000"),
    "card_fits_badly": Code("note", "The card's patches do not agree with its reference values; every promise is weaker.", "use a clean manufactured card of a known edition in even light, and no picture style in the camera"),
    "rendered_strongly": Code("note", "The photo was strongly rendered: its colours are further from the card's than a plain photo's, and intervals are wider.", "switch picture styles, filters, HDR and night modes off; send the file itself, not a messenger's copy; raw or HEIC keeps more than JPEG"),
    "patches_left_out": Code("note", "Some patches could not be used.", "see the reasons; photograph the card whole, clean, evenly lit and not overexposed"),
    "relative_colour": Code("note", "Colours are relative to a printed sheet whose own colours are not known; differences among its photos hold.", "learn the sheet beside a 24-patch chart (`finishmatch card learn`) to have absolute colours"),
    "sheet_differs": Code("note", "The sheet's patches do not agree with those of the other photos, or with what was learnt of it.", "use one and the same print in all photos, clean and unfaded; learn it again if it has changed"),
    "light_uneven": Code("note", "The light is uneven over the card by more than 2 %.", "move the light away or diffuse it, or give a flat frame"),
    "light_varies": Code("note", "The light may differ between the places of the two parts.", "lay both side by side near the card, in one light"),
    "neutral_level": Code("note", "One of two neutral parts is darker, perhaps of another finish: black and grey, white and bare metal.", "lay both flat, side by side, in the same attitude, or say `matt = true` of both"),
    "level_not_judged": Code("note", "Hue and chroma were judged; depth of dye and sheen were not.", "lay both side by side and turn them in the light"),
    "mixed_light": Code("note", "The light is not one: two cards of a kind read differently, or the ground's colour drifts as between two lamps.", "switch off the second light, or photograph in even light"),
    "flat_frame_used": Code("note", "Uneven light was evened by the flat frame.", "nothing to do"),
    "tone_unknown": Code("note", "One grey or white card cannot tell the camera's tone curve; the profile's was assumed and results widened.", "use a 24-patch chart"),
    "carried_over": Code("note", "The photo is corrected by the chart in another photo of its camera and light.", "nothing to do; with white balance and exposure set by hand in both photos more carries over"),
    "camera_known": Code("note", "A camera file tells the photo's tone and colours; white balance and exposure are its own.", "put a grey card beside the parts, and more is known"),
    "camera_file_other": Code("note", "The photo is not of the camera in the camera file that is named for it, or written in another way; it was not corrected by it.", "keep the camera's own file, or learn this camera as well"),
    "no_card": Code("note", "The photo has no card: only pairs inside this photo can be judged closely.", "photograph the parts again beside a card"),
    "bridged": Code("note", "The photo has no card; it was brought to the other photos by parts that they share.", "photograph the parts again beside a card"),
    # notes: a part
    "part_clipped": Code("note", "Too much of the part is over- or underexposed; it was refused.", "photograph it again, darker (or lighter), without harsh light"),
    "channel_lost": Code("note", "A channel of the part is beyond what the photo's file can hold; it was refused.", "photograph it one stop darker, or keep HEIC or raw, whose colour space is wider"),
    "part_small": Code("note", "The part shows too few pixels; it was refused.", "go nearer, or use the larger original photo"),
    "two_finishes": Code("note", "Two finishes lie in this outline; it was refused.", "outline one finish only"),
    "clipped_dropped": Code("note", "Over- or underexposed pixels of the part were left out.", "expose a little less"),
    "outliers_dropped": Code("note", "Pixels of another colour (screws, engraving, dirt) were left out.", "nothing to do, or outline the finish more closely"),
    "level_beside_ground": Code("note", "The part is matt, and its lightness was taken over that of the ground right beside it.", "nothing to do"),
    "few_pixels": Code("note", "The part shows few pixels, which widens its uncertainty.", "go nearer, or use the larger original photo"),
    "mark_questioned": Code("note", "A mark of the two is doubtful: nothing firm is said of them before it is looked at.", "look at the question beside the part; move the mark, or say `meant = true` in its `[[photo.part]]`"),
    "mark_on_ground": Code("note", "The mark seems to lie on what surrounds the part, not on the part; no firm verdict rests on it unless most marks do.", "move the mark onto the part, or say `meant = true` in its `[[photo.part]]`"),
    "mark_holds_ground": Code("note", "The mark, or the ellipse of its box, holds some of what lies around the part; no firm verdict rests on it.", "draw the mark closer, or say `meant = true` in its `[[photo.part]]`"),
    "mark_two_things": Code("note", "The mark seems to cover two things; no firm verdict rests on it.", "mark one of them only, or say `meant = true` in its `[[photo.part]]`"),
    "mark_fragment": Code("note", "The mark is a small spot in a larger even thing (a hole, a screw, a speck); no firm verdict rests on it.", "mark the whole part or an even area of it, or say `meant = true` in its `[[photo.part]]`"),
    "mark_overlaps": Code("note", "The mark lies to a good part where another part's mark lies: one thing marked twice? No firm verdict rests on either.", "take one of the marks away, or say `meant = true` in the `[[photo.part]]` of both"),
    "mark_same_thing": Code("note", "No edge lies between the mark and another part's: one thing marked twice?", "take one of the marks away, or say `meant = true` in the `[[photo.part]]` of both"),
    "mark_in_larger": Code("note", "The mark lies in an even surface that is much larger.", "nothing to do if an evenly lit area of the part was meant"),
    "mark_small": Code("note", "The mark is far smaller than the others in this photo.", "nothing to do if the part is that small"),
    "photos_disagree": Code("note", "The part reads differently in its photos by more than they claim; its uncertainty was widened.", "photograph again in one light with one card"),
    "neutral_part": Code("note", "The part is neutral (black, white, bare metal): never counted as a mismatch.", "nothing to do"),
    # notes: a difference
    "level_geometry": Code("note", "One part looks darker than the other, no more than shape and light explain.", "to judge lightness, photograph both flat, side by side, in the same attitude"),
    "level_unsure": Code("note", "One part looks darker than the other, perhaps by more than shape and light explain.", "photograph both flat, side by side, in the same attitude"),
    "level_differs": Code("note", "One part is darker than the other by more than shape and light explain.", "nothing to do"),
    "different_photos": Code("note", "The two parts were compared across photos; errors of both photos enter.", "photograph both in one photo"),
    "different_light": Code("note", "The two parts were photographed in different lights.", "photograph both in the same light"),
    "light_dependent": Code("note", "The two parts agree in one light and part in another.", "judge them in the light that they will be seen in"),
    "print_metamerism": Code("note", "Printed inks change from light to light otherwise than the parts do; the comparison was widened.", "photograph both parts in the same light"),
    "relative_absolute": Code("note", "One part's colours are relative to a printed sheet, the other's are not: they cannot be compared.", "photograph both with the same card, or learn the sheet beside a 24-patch chart"),
    "photo_cannot_settle": Code("note", "No photo of this kind can prove these two alike: the uncertainty is too large for the tolerance.", "photograph both in one photo with a 24-patch chart in even light, or widen the tolerance"),
    "at_tolerance": Code("note", "The difference lies at the tolerance itself; a better photo would hardly settle it.", "hold both side by side in your own light and decide by eye, or name a limit pair"),
    "own_spread": Code("note", "The parts' own colour varies over what is marked.", "mark a plain, evenly lit area of each part, and go nearer"),
    # advice
    "verdict": Code("advice", "The answer in one sentence.", ""),
    "check_mark": Code("advice", "A mark to look at before anything rests on it.", "move it, or say `meant = true` in its `[[photo.part]]`"),
    "not_judged": Code("advice", "What photographs cannot tell of parts that look alike.", ""),
    "families": Code("advice", "How the parts were read as several finishes.", "say `finish` for each part, or `families` in `[build]`"),
    "meant": Code("advice", "A part that is alone in its colour: only a person can say whether that is meant.", "say its `finish`"),
    "ask_label": Code("advice", "Groups that may be two finishes on purpose: their labels would tell.", "say `finish` for each part"),
    "stands_out": Code("advice", "A part that agrees with no large set.", ""),
    "keep": Code("advice", "Parts that agree and stay.", ""),
    "return": Code("advice", "Bought or offered parts to send back or leave out.", ""),
    "swap": Code("advice", "A part to exchange for another candidate of its slot.", ""),
    "turn_neutral": Code("advice", "A part that could be black, white or bare metal instead.", ""),
    "two_finishes_on_purpose": Code("advice", "The build agrees if two finishes are kept on purpose.", ""),
    "buy": Code("advice", "A candidate worth buying.", ""),
    "not_yet": Code("advice", "The nearest choice, on which no money should be spent yet.", ""),
    "blocked": Code("advice", "A slot of which no candidate agrees with the rest.", ""),
    "photograph_again": Code("advice", "A photo that would settle what is unsure, and how to take it.", ""),
    "message": Code("advice", "A message to a seller whose photo cannot tell, ready to copy.", ""),
    "caution_critical": Code("advice", "Colour never outranks a part's rating: a part that carries load, brakes, pressure, gas or mains.", "follow the maker's instructions, the part's rating, local codes and licensed practice"),
    "caution_rework": Code("advice", "Stripping, re-anodising or heating a part can weaken it.", "leave it to a finisher who knows the alloy and the part's load"),
}
# fmt: on

if TYPE_CHECKING:
    CodeName = str
else:
    CodeName = Literal[tuple(CODES)]
