"""Fixed words of sheets and letters, kept within what a screening result may say."""

from triage.report.labels import FIX, LIMITS, REVIEW, SAFE

SHEET_LIMITS = (
    LIMITS,
    "Local codes, licensed practice and the judgement of qualified people stand above this sheet.",
)

LETTER_WORDS = {
    "opening": "We have looked through the records of your home, to plan how it can be insulated. "
    "This letter tells you what comes next.",
    f"{FIX} title": "First some repairs, then this work:",
    FIX: "Our records say that something should be mended first, so that water stays out or "
    "damp air can leave. We will agree a day with you before anybody comes. After the repair we "
    "look again, often some weeks or months later, because walls and timber dry slowly.",
    f"{REVIEW} title": "We need to know more before we decide on this work:",
    REVIEW: "Somebody with the right training will look at the records or at your home. We will "
    "agree a day with you first. Nothing has been decided until then.",
    f"{SAFE} title": "We plan to go on with this work:",
    SAFE: "In the records that we hold, our checks found nothing that has to be done before it, "
    "apart from a look on the day and any preparation that we agree with you.",
    "leave": "Until we have been, please leave lofts, walls and floors where work is planned as "
    "they are: no drilling and no opening up. This is an ordinary precaution.",
    "not you": "None of this is about how you use your home, and there is nothing that you have "
    "to do now.",
    "limits": "This comes from records, which can be incomplete. It is not a survey of your home, "
    "and it makes no promise about its condition. What we see on a visit can change the plan.",
    "urgent": "Please also call if you see water coming in, new stains or mould, or if anything "
    "in your home has changed. In an emergency, call the emergency service first.",
}
