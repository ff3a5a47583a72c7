(() => {
  const shots = JSON.parse(document.getElementById("posters").textContent);
  const known = new Map();
  const take = (n) => {
    if (!known.has(n)) known.set(n, pictures.take(shots[n]));
    return known.get(n);
  };
  const draw = (poster) => {
    const one = take(Number(poster.dataset.take));
    pictures.picture(poster, { plain: true }).draw(one, Number(poster.dataset.k));
  };
  const watch = new IntersectionObserver(
    (entries) => {
      for (const { target, isIntersecting } of entries) {
        if (!isIntersecting) continue;
        watch.unobserve(target);
        draw(target);
      }
    },
    { rootMargin: "300px" },
  );
  const posters = [...document.querySelectorAll("svg.poster")];
  posters.forEach((poster) => watch.observe(poster));
  addEventListener("beforeprint", () => posters.forEach(draw));
})();
