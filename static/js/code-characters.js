// Sample codes as they are typed: the check character is worked out here too, so that a misread one is noticed where
// there is no network. ISO/IEC 7064, hybrid system over the thirty characters of the codes.

export const ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ", LENGTH = 8;

export function checkCharacter(text) {
  const size = ALPHABET.length;
  let running = size;
  for (const character of text) {
    running = (running + ALPHABET.indexOf(character)) % size || size;
    running = (running * 2) % (size + 1);
  }
  return ALPHABET[((1 - running) % size + size) % size];
}

export const plainCode = (text) => text.replace(/[\s-]/g, "").toUpperCase();

// Says what is wrong with a sample code, or nothing.
export function faultOf(text) {
  const code = plainCode(text), strange = [...new Set(code)].filter((c) => !ALPHABET.includes(c));
  if (code.length !== LENGTH) return `A sample code has ${LENGTH} characters; this has ${code.length}.`;
  if (strange.length) return `No sample code has ${strange.join(", ")}. Read it again.`;
  return checkCharacter(code.slice(0, -1)) === code.at(-1) ? "" : "It was misread: its last character, which checks the others, does not fit. Read it again.";
}
